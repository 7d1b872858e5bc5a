"""Find sql/, reports/ and synthetic_data/, in a wheel and in a checkout alike."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path

CHECKOUT_ROOT = Path(__file__).resolve().parent.parent


def folder(name: str) -> Path:
    """Return the bundled folder of that name.

    Args:
        name: ``sql``, ``reports`` or ``synthetic_data``.

    Returns:
        Its path: inside the installed package first, else beside it in a checkout.

    Raises:
        FileNotFoundError: the installation is incomplete.
    """
    in_wheel = Path(str(files("pipeline"))) / "_bundled" / name
    if in_wheel.is_dir():
        return in_wheel
    in_checkout = CHECKOUT_ROOT / name
    if in_checkout.is_dir():
        return in_checkout
    missing = f"the folder {name!r} is in neither {in_wheel} nor {in_checkout}"
    raise FileNotFoundError(missing)
