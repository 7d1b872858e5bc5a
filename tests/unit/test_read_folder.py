"""records/ is walked in order; what is no sheet is seen and counted, not read."""

from pathlib import Path

from pipeline.records.read import readable_files


def make(folder: Path, *names: str) -> None:
    for name in names:
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text("x")


def relative(folder: Path, paths: tuple[Path, ...]) -> list[str]:
    return [path.relative_to(folder).as_posix() for path in paths]


def test_sheets_are_found_in_order_through_all_folders(tmp_path: Path) -> None:
    make(tmp_path, "b.csv", "a/z.XLSX", "a/b/c.ods", "ä ö/d.tsv", "c.xls", "e.xlsm")
    files, seen = readable_files(tmp_path)
    assert relative(tmp_path, files) == [
        "a/b/c.ods", "a/z.XLSX", "b.csv", "c.xls", "e.xlsm", "ä ö/d.tsv",
    ]  # fmt: skip
    assert seen == ()


def test_pictures_and_papers_are_seen_but_not_read(tmp_path: Path) -> None:
    make(tmp_path, "film.dcm", "scan.stl", "photo.JPG", "letter.pdf", "no_ending")
    files, seen = readable_files(tmp_path)
    assert files == ()
    assert len(seen) == 5


def test_leftovers_of_spreadsheets_and_file_managers_are_ignored(
    tmp_path: Path,
) -> None:
    make(
        tmp_path,
        "~$cases.xlsx", ".~lock.cases.ods#", ".DS_Store", "Thumbs.db", "Desktop.ini",
        ".hidden/cases.csv",
    )  # fmt: skip
    assert readable_files(tmp_path) == ((), ())


def test_links_are_seen_but_not_followed(tmp_path: Path) -> None:
    make(tmp_path, "records/a.csv", "elsewhere/secret.csv")
    records = tmp_path / "records"
    (records / "link").symlink_to(tmp_path / "elsewhere")
    (records / "link.csv").symlink_to(tmp_path / "elsewhere" / "secret.csv")
    files, seen = readable_files(records)
    assert relative(records, files) == ["a.csv"]
    assert relative(records, seen) == ["link", "link.csv"]
