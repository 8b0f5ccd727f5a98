"""Tables: every column declared, by one meaning, with its unit; every number whole."""

from __future__ import annotations

import importlib.util
import math
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from cuspwise.standalone_core.csv_text import BYTE_ORDER_MARK, cell_text
from cuspwise.standalone_core.report.tables import column as units
from cuspwise.standalone_core.report.tables.column import unit_of
from cuspwise.standalone_core.report.tables.declared import TABLES
from cuspwise.standalone_core.report.tables.dictionary import COLUMNS, THEMES, write_tables
from cuspwise.standalone_core.report.tables.table import table
from cuspwise.standalone_core.study.file.csv_rows import read_csv
from made.all_tables import rows_of, study_made, written

ROOT = Path(__file__).resolve().parents[2]
REMEDY = (
    "declare it once with column(…) in standalone_core/report/tables/*_columns.py, name its tables "
    "there (new ones in declared.py too), and run python tools/write_columns_page.py"
)
ENDINGS = {"um": "µm", "mm": "mm", "mm2": "mm²", "mm3": "mm³", "deg": "degrees"}


@pytest.fixture(scope="module")
def tables(tmp_path_factory: pytest.TempPathFactory) -> dict[str, list[dict[str, str]]]:
    """The rows of every table, as its file holds them."""
    folder = tmp_path_factory.mktemp("tables")
    found = written(folder)
    write_tables("study", folder, {name: one.text for name, one in study_made().items()})
    return found | {f"study/{file.stem}": rows_of(file) for file in folder.glob("*.csv")}


def test_every_table_is_declared_and_has_rows_here(tables) -> None:
    assert set(tables) - set(TABLES) == set(), REMEDY
    assert set(TABLES) - set(tables) == set(), "declared, but nothing here writes it"
    assert [key for key, rows in tables.items() if not rows] == []


def test_every_column_is_declared_for_its_table_and_none_besides(tables) -> None:
    found = {(key, name) for key, rows in tables.items() for name in rows[0]}
    declared = {(key, one.name) for one in COLUMNS.values() for key in one.tables}
    undeclared = ", ".join(f"{name} of {key}.csv" for key, name in sorted(found - declared))
    assert not undeclared, f"{undeclared}: {REMEDY}"
    assert declared - found == set(), "declared, but no table has it"


def test_a_name_is_declared_once() -> None:
    names = [one.name for columns in THEMES.values() for one in columns]
    assert len(names) == len(set(names)) == len(COLUMNS)
    for one in COLUMNS.values():
        assert len(one.tables) == len(set(one.tables)), one.name


def test_names_are_ascii_and_tell_their_unit() -> None:
    for one in COLUMNS.values():
        assert one.name.isascii(), one.name
        assert one.name.replace("_", "a").isalnum(), one.name
        assert one.meaning.endswith("."), one.name
        told = ENDINGS.get(one.name.rpartition("_")[2])
        share = units.SHARE if "share" in one.name.split("_") else None
        lengths = {*ENDINGS.values(), units.SHARE}
        assert (told or share) == (one.unit if one.unit in lengths else None), one.name


def test_a_meaning_stands_by_itself() -> None:
    """Where a row of the dictionary is read alone, nothing comes before it."""
    for one in COLUMNS.values():
        first = " ".join(one.meaning.split()[:2])
        assert not first.startswith(("Its ", "The same", "That ", "Those ", "Both ")), one.name
        assert not one.meaning.endswith((" that.", " it.", " these.")), one.name


def test_a_number_in_the_unit_of_its_row_has_that_unit_beside_it(tables) -> None:
    for one in COLUMNS.values():
        for key in one.tables if one.unit == units.OF_ROW else ():
            assert "unit" in tables[key][0], (key, one.name)
    for key, rows in tables.items():
        if "measure" in rows[0] and "unit" in rows[0]:
            assert all(row["unit"] == unit_of(row["measure"]) for row in rows), key


def test_units_of_measures() -> None:
    assert [unit_of(name) for name in ("rms_um", "beyond_mm", "area_mm2", "volume_mm3")] == [
        *("µm", "mm", "mm²", "mm³")
    ]
    assert [unit_of(name) for name in ("worst_deg", "counted_share", "coverage")] == [
        *("degrees", "share", "share")
    ]
    assert unit_of("strength") == ""


def test_cells_are_what_their_columns_say(tables) -> None:
    """Yes and no, counts, probabilities and numbers; an empty cell is a number that is not."""
    for key, rows in tables.items():
        for name in rows[0]:
            cells = {row[name] for row in rows} - {""}
            unit = COLUMNS[name].unit
            if unit == units.TRUTH:
                assert cells <= {"TRUE", "FALSE"}, (key, name)
            elif unit != units.TEXT:
                numbers = [float(cell) for cell in cells]
                assert all(map(math.isfinite, numbers)), (key, name)
                if unit == units.COUNT:
                    assert all(cell.isdigit() for cell in cells), (key, name, cells)
                elif unit == units.PROBABILITY:
                    assert all(0.0 <= number <= 1.0 for number in numbers), (key, name)


def test_a_cell_gives_its_number_back() -> None:
    """All 64 bits of doubles from the whole range, and of single precision."""
    bits = np.random.default_rng(7).integers(0, 2**64, 20_000, dtype=np.uint64)
    doubles = bits.view(np.float64)
    for value in (*doubles[np.isfinite(doubles)], 5e-324, 1e22, 0.1, -2.5, np.float64(1) / 3):
        assert float(cell_text(value)) == value
        assert float(cell_text(float(value))) == value
    assert cell_text(-0.0) == "0.0"
    assert [cell_text(x) for x in (np.nan, np.inf, -np.inf, None)] == [""] * 4


def test_the_dictionary_beside_the_tables_tells_all_their_columns(tables) -> None:
    for owner in ("check", "fit", "study"):
        told = [(row["table"], row["column"]) for row in tables[f"{owner}/README"]]
        names = [key.partition("/")[2] for key in tables if key.startswith(f"{owner}/")]
        here = {(name, column) for name in names for column in tables[f"{owner}/{name}"][0]}
        assert len(told) == len(set(told))
        assert set(told) == here
        assert all(row["unit"] and row["meaning"] for row in tables[f"{owner}/README"])


def test_files_begin_with_the_mark_and_our_reader_takes_them(tmp_path: Path) -> None:
    found = table(("crown", "value", "odd"), [("Zürich µ", 0.1, True), ("=1+1", None, False)])
    write_tables("study", tmp_path, {"odd": found.text})
    data = (tmp_path / "odd.csv").read_bytes()
    assert data == "crown,value,odd\nZürich µ,0.1,TRUE\n'=1+1,,FALSE\n".encode("utf-8-sig")
    assert data.decode().startswith(BYTE_ORDER_MARK)
    read = read_csv(tmp_path / "odd.csv", ("crown",), ("crown", "value", "odd"))
    assert [row.cells["crown"] for row in read.rows] == ["Zürich µ", "=1+1"]


def test_an_undeclared_column_does_not_stop_a_study(tmp_path: Path) -> None:
    write_tables("study", tmp_path, {"trueness": table(("crown", "new_um"), [("a", 1.0)]).text})
    first, second = rows_of(tmp_path / "README.csv")[:2]
    assert (first["column"], first["unit"]) == ("crown", "text")
    assert (second["column"], second["unit"], second["meaning"]) == ("new_um", "", "")


def test_the_page_of_columns_is_up_to_date() -> None:
    made = load(ROOT / "tools" / "write_columns_page.py")
    page = (ROOT / "docs" / "columns.md").read_text(encoding="utf-8")
    assert page == made.columns_page(), "run python tools/write_columns_page.py"
    assert all(f"| `{name}` |" in page for name in COLUMNS)


def load(path: Path) -> SimpleNamespace:
    spec = importlib.util.spec_from_file_location(path.stem, path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module
