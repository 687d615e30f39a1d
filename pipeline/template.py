"""Write empty export files, a commented rules file, or the demo's exports."""

import shutil
from pathlib import Path

from pipeline.errors import OutputNotWritable
from pipeline.settings import DEFAULT_RULES
from pipeline.tables.exports import EXPORT_KINDS

_PACKAGE = Path(__file__).resolve().parent


def demo_folder() -> Path:
    """Return the sample exports: inside the package in a wheel, beside it in a checkout."""
    packed = _PACKAGE / "sample_exports"
    return packed if packed.is_dir() else _PACKAGE.parent / "sample_exports"


def write_template(folder: Path) -> tuple[Path, ...]:
    """Write one empty file per kind of export, and the rules file; replace no file.

    Raises:
        OutputNotWritable: the folder cannot be made, or one of the files exists.
    """
    texts = {
        f"{kind.name}.csv": ",".join(
            field.headings[0] for field in kind.fields if field.name != "scanned_on"
        )
        + "\r\n"
        for kind in EXPORT_KINDS
    }
    texts["rules.toml"] = DEFAULT_RULES.read_text(encoding="utf-8")
    return tuple(_write(folder, name, text) for name, text in texts.items())


def write_demo(folder: Path) -> tuple[Path, ...]:
    """Copy the demo's exports into a new folder.

    Raises:
        OutputNotWritable: the folder exists, or cannot be made.
    """
    try:
        shutil.copytree(demo_folder(), folder)
    except OSError as error:
        raise OutputNotWritable(folder, error.strerror or str(error)) from error
    return tuple(sorted(path for path in folder.rglob("*") if path.is_file()))


def _write(folder: Path, name: str, text: str) -> Path:
    path = folder / name
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with path.open("x", encoding="utf-8", newline="") as file:
            file.write(text)
    except OSError as error:
        raise OutputNotWritable(path, error.strerror or str(error)) from error
    return path
