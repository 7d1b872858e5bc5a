"""Examples of checks of films, of pads on casts, and of files loaded again."""

from __future__ import annotations

from typing import Any

from pipeline.reference import load
from tests.spec.check_examples import Example, Row, one, row

PIN = {
    "scale_object": "marker",
    "true_length_mm": "10",
    "true_width_mm": "2",
    "image_length_mm": "12",
    "image_width_mm": "2.4",
}
BOTH = {"side": "both", "view": "sagittal", "film_kind": "lateral_skull"}
FIRST_DAY = "a day from 1980-01-01 to 2026-06-30 is possible."


def film(check_id: str, good: Any, bad: Any, says: str) -> Example:
    return one(f"films-{check_id}", "films", good, bad, says)


def pins(left: str, right: str) -> tuple[Row, ...]:
    """Both pins of one film, as long as given on it."""
    return tuple(
        row("films", **{**PIN, "side": side, "image_length_mm": length})
        for side, length in (("left", left), ("right", right))
    )


def spaced(spacing: str) -> tuple[Row, ...]:
    """Two sites 16 mm apart on the cast, and a film of their pins."""
    sites = tuple(row("cast_readings", side=side) for side in ("left", "right"))
    return (*sites, row("films", **PIN, spacing_image_mm=spacing))


FILMS = (
    film(
        "site-missing",
        {},
        {"side": ""},
        "nothing says which implant was seen.",
    ),
    film(
        "tooth-on-other-side",
        {"tooth": "33"},
        {"tooth": "43"},
        "the tooth number and the side contradict each other.",
    ),
    film(
        "both-from-the-front",
        BOTH,
        {"side": "both"},
        "both implants together are only seen on a film from the side.",
    ),
    film(
        "view-of-kind",
        {"film_kind": "panoramic"},
        {"film_kind": "panoramic", "view": "sagittal"},
        "this kind of film does not show that view.",
    ),
    film(
        "tilt",
        {"tilt_deg": "-40"},
        {"tilt_deg": "-41"},
        "tilt_deg reads -41 degrees; -40 to 40 can be corrected.",
    ),
    film(
        "difference",
        {**BOTH, "difference_deg": "4"},
        {**BOTH, "difference_deg": "-4"},
        "difference_deg reads -4 degrees; 0 to 60 is possible.",
    ),
    film(
        "scale-against-lean",
        {**PIN, "tilt_deg": "30"},
        {**PIN, "tilt_deg": "30", "image_length_mm": "15", "image_width_mm": "2.1"},
        "scale and lean contradict each other, so the true lean cannot be found.",
    ),
    film(
        "length-scale",
        PIN,
        {**PIN, "image_length_mm": "25"},
        "the image is 2.5 times as long as the object; 0.7 to 2 is possible on a film.",
    ),
    film(
        "width-scale",
        PIN,
        {**PIN, "image_width_mm": "24"},
        "the image is 12 times as wide as the object; 0.7 to 2 is possible on a film.",
    ),
    film(
        "image-as-true",
        PIN,
        {**PIN, "image_length_mm": "10", "image_width_mm": "2"},
        "image and object have exactly the same size: the true size may have been typed"
        " as that of the image.",
    ),
    film(
        "length-below-width",
        PIN,
        {
            "scale_object": "marker",
            "true_length_mm": "2",
            "true_width_mm": "10",
        },
        "the object is wider than long: length and width look exchanged.",
    ),
    film(
        "spacing",
        {"spacing_image_mm": "20"},
        {"spacing_image_mm": "2"},
        "spacing_image_mm reads 2 mm; 5 to 80 is possible.",
    ),
    film(
        "gap",
        {"gap_to_bone_image_mm": "2"},
        {"gap_to_bone_image_mm": "22"},
        "gap_to_bone_image_mm reads 22 mm; 0 to 20 is possible.",
    ),
    film(
        "film-day",
        {"film_date": "2025-03-01"},
        {"film_date": "1900-01-01"},
        f"film_date is 1900-01-01; {FIRST_DAY}",
    ),
    Example(
        "films-before-surgery",
        (row("cases"), row("films", state="achieved", film_date="2025-03-05")),
        (row("cases"), row("films", state="achieved", film_date="2025-03-01")),
        "Row 2: the film of the result is dated 3 day(s) before the surgery.",
    ),
    film(
        "reading-number",
        {"reading": "1"},
        {"reading": "0"},
        "the measurement number reads 0; it starts with 1.",
    ),
    Example(
        "films-pin-images",
        pins("12", "12.6"),
        pins("12", "13.8"),
        "The images of the two pins of this case differ in length by 13.95 percent: a pin"
        " may have slipped.",
    ),
    Example(
        "films-pin-spacing",
        spaced("19.4"),
        spaced("23.04"),
        "After scale the two pins of this case stand 20 percent nearer or farther than"
        " the sites on the cast: a pin may have slipped.",
    ),
)

PADS = (
    one(
        "cast-readings-pads-exchanged",
        "cast_readings",
        {"left_pad_mm": "43", "right_pad_mm": "51", "between_pads_mm": "48"},
        {"left_pad_mm": "51", "right_pad_mm": "43", "between_pads_mm": "48"},
        "by its distances to the retromolar pads the site lies 7.83 mm on the other side"
        " of the middle.",
    ),
    one(
        "cast-readings-pads-no-triangle",
        "cast_readings",
        {"left_pad_mm": "43", "right_pad_mm": "51", "between_pads_mm": "48"},
        {"left_pad_mm": "20", "right_pad_mm": "27", "between_pads_mm": "48"},
        "the three distances to and between the retromolar pads make no triangle.",
    ),
)


def loaded_again(sheet: str) -> tuple[Example, Example]:
    """A file that no longer has its row, and one that is older than the last."""
    name = sheet.replace("_", "-")
    return (
        Example(
            f"{name}-no-longer-there",
            (row(sheet),),
            (row(sheet),),
            "Row 2, as the file stood before, is no longer in it; the row is still used.",
            again="in use",
        ),
        Example(
            f"{name}-older-file",
            (row(sheet),),
            (row(sheet),),
            "This file is older than what was loaded from it before: its 1 row(s) of"
            f" {sheet} are held, and the newer ones are used.",
            again="older",
        ),
    )


LOADED_AGAIN = tuple(
    example for sheet in load.sheets() for example in loaded_again(sheet)
)
