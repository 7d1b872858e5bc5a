"""DICOM objects for tests, written with pydicom."""

import io

import numpy as np
from pydicom.dataset import Dataset, FileMetaDataset
from pydicom.sequence import Sequence
from pydicom.uid import ExplicitVRLittleEndian, generate_uid
from pydicom.valuerep import format_number_as_ds

# DICOM PS3.4 B.5
SPATIAL = "1.2.840.10008.5.1.4.1.1.66.1"
DEFORMABLE = "1.2.840.10008.5.1.4.1.1.66.3"
CT_IMAGE = "1.2.840.10008.5.1.4.1.1.2"

PATIENT = "Invented^Name"


def matrix_of(rotation, shift) -> np.ndarray:
    """A matrix of four rows out of a rotation and a shift."""
    matrix = np.eye(4)
    matrix[:3, :3], matrix[:3, 3] = rotation, shift
    return matrix


def registration(
    *matrices, kind="RIGID", sop_class=SPATIAL, is_delimited=False
) -> bytes:
    """Write a registration object: an item at rest, and one for each matrix.

    Sequences state their length, or end with a delimiter where ``is_delimited``.
    """
    found = Dataset()
    found.SOPClassUID = sop_class
    found.SOPInstanceUID = generate_uid(entropy_srcs=["object"])
    found.PatientName, found.PatientID = PATIENT, "12345"
    found.PatientBirthDate = "19400102"
    found.FrameOfReferenceUID = generate_uid(entropy_srcs=["plan"])
    found.RegistrationSequence = Sequence(
        [_item(np.eye(4), kind), *(_item(matrix, kind) for matrix in matrices)]
    )
    found["RegistrationSequence"].is_undefined_length = is_delimited
    return written(found)


def _item(matrix, kind) -> Dataset:
    one, step, item = Dataset(), Dataset(), Dataset()
    numbers = np.asarray(matrix, float).ravel().tolist()
    # a decimal string holds 16 characters (DICOM PS3.5 6.2)
    decimals = [format_number_as_ds(number) for number in numbers]
    one.FrameOfReferenceTransformationMatrix = decimals
    if kind:
        one.FrameOfReferenceTransformationMatrixType = kind
    step.MatrixSequence = Sequence([one])
    item.FrameOfReferenceUID = generate_uid(entropy_srcs=["scan"])
    item.MatrixRegistrationSequence = Sequence([step])
    return item


def written(found: Dataset) -> bytes:
    """Return an object as the bytes of a file."""
    found.file_meta = FileMetaDataset()
    found.file_meta.TransferSyntaxUID = ExplicitVRLittleEndian
    found.file_meta.MediaStorageSOPClassUID = found.SOPClassUID
    found.file_meta.MediaStorageSOPInstanceUID = found.SOPInstanceUID
    handle = io.BytesIO()
    found.save_as(handle, enforce_file_format=True)
    return handle.getvalue()


def image() -> bytes:
    """Write a slice of a scan, without its pixels."""
    found = Dataset()
    found.SOPClassUID = CT_IMAGE
    found.SOPInstanceUID = generate_uid(entropy_srcs=["slice"])
    found.PatientName = PATIENT
    return written(found)
