"""Entries of a study's store that are damaged or of another format: measured anew, never used."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
from cuspwise.standalone_core.study.measuring.result_store import FORMAT, ResultStore


def test_a_damaged_entry_counts_as_not_there(tmp_path: Path) -> None:
    store = ResultStore(tmp_path / "kept")
    arrays = {"v": np.arange(3.0), "n": np.arange(40, dtype=np.int32)}
    store.save("a", {"x": float("nan"), "y": 0.1 + 0.2}, arrays)
    record, loaded = store.load("a") or ({}, {})
    assert np.isnan(record["x"])
    assert record["y"] == 0.1 + 0.2
    for name, array in arrays.items():
        np.testing.assert_array_equal(loaded[name], array)
        assert loaded[name].dtype == array.dtype
    assert store.holds("a")
    whole = store.path("a").read_bytes()
    for length in (0, 1, len(whole) // 2, len(whole) - 1):
        store.path("a").write_bytes(whole[:length])
        assert store.load("a") is None
        assert not store.holds("a")
    assert store.load("b") is None
    assert not store.holds("b")


def test_no_flipped_bit_goes_unseen_or_breaks_anything(tmp_path: Path) -> None:
    """Every byte of an entry in turn: it is then not there, or says the same."""
    store = ResultStore(tmp_path / "kept")
    store.save("a", {"x": 1.5}, {"v": np.arange(3.0), "n": np.arange(9)})
    whole = store.path("a").read_bytes()
    for place in range(len(whole)):
        damaged = bytearray(whole)
        damaged[place] ^= 0x10
        store.path("a").write_bytes(damaged)
        if store.holds("a") and (found := store.load("a")) is not None:
            record, arrays = found
            assert record == {"x": 1.5}
            np.testing.assert_array_equal(arrays["v"], np.arange(3.0))


def test_an_entry_of_another_format_counts_as_not_there(tmp_path: Path) -> None:
    store = ResultStore(tmp_path / "kept")
    text = np.frombuffer(json.dumps({"triangles": 7}).encode(), dtype=np.uint8)
    np.savez(store.path("a"), record=text, deviation_mm=np.zeros(3))
    assert store.load("a") is None
    assert not store.holds("a")
    store.save("a", {}, {})
    whole = store.path("a").read_bytes()
    assert store.holds("a")
    text = np.frombuffer(json.dumps({"format": FORMAT + 1, "record": {}}).encode(), dtype=np.uint8)
    np.savez(store.path("a"), record=text)
    assert not store.holds("a")
    assert store.path("a").read_bytes() != whole
