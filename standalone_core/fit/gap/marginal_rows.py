"""Marginal measures place by place, as records for a table."""

from __future__ import annotations

from .result import MarginalGap

MARGINAL_COLUMNS = (
    "place",
    "angle_deg",
    "where",
    "gap_um",
    "extension_um",
    "absolute_um",
    "vertical_um",
    "horizontal_um",
    "beyond",
)
"""The columns of :func:`marginal_rows`."""

_NUMBERS = ("gap_um", "extension_um", "absolute_um", "vertical_um", "horizontal_um")


def marginal_rows(margin: MarginalGap) -> list[dict[str, int | float | str | bool | None]]:
    """Return one record for each place, in order.

    Parameters
    ----------
    margin : MarginalGap

    Returns
    -------
    list of dict
        Keys are :data:`MARGINAL_COLUMNS`: "place" counts from 1, "where" is the angle in words,
        "beyond" says whether the gap is beyond the limit. Numbers and "beyond" are None where
        the place was not measured.
    """
    limit = margin.settings.marginal_limit_um
    rows: list[dict[str, int | float | str | bool | None]] = []
    for k, (angle, measured) in enumerate(
        zip(margin.angle_deg.tolist(), margin.measured.tolist(), strict=True)
    ):
        numbers = {name: float(getattr(margin, name)[k]) if measured else None for name in _NUMBERS}
        rows.append(
            {
                "place": k + 1,
                "angle_deg": angle,
                "where": margin.directions.words(angle),
                **numbers,
                "beyond": bool(margin.gap_um[k] > limit) if measured else None,
            }
        )
    return rows
