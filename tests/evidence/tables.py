"""HTML tables of the page."""

from collections.abc import Sequence
from html import escape

Cell = str | float | int | None


def cell(value: Cell, digits: int = 2) -> str:
    """Return a value as text; text is taken for HTML."""
    if value is None or value != value:
        return "\N{EN DASH}"
    if isinstance(value, str):
        return value
    if isinstance(value, int):
        return str(value)
    return f"{value:.{digits}f}".replace("-", "\N{MINUS SIGN}")


def table(
    heads: Sequence[str], rows: Sequence[Sequence[Cell]], digits: Sequence[int] = ()
) -> str:
    """Return an HTML table; `digits` after the point by column, 2 where not given."""
    shown = [*digits, *[2] * (len(heads) - len(digits))]
    words = [all(_word(row[k]) for row in rows) for k in range(len(heads))]
    head = "".join(
        f"<th{' class=t' if word else ''}>{escape(name)}</th>"
        for name, word in zip(heads, words, strict=True)
    )
    body = ""
    for row in rows:
        tds = []
        for value, places in zip(row, shown, strict=True):
            kind = " class=t" if _word(value) else ""
            tds.append(f"<td{kind}>{cell(value, places)}</td>")
        body += f"<tr>{''.join(tds)}</tr>"
    return f'<div class="wide"><table><tr>{head}</tr>{body}</table></div>'


def _word(value: Cell) -> bool:
    return isinstance(value, str) and "<" not in value


def judged(value: float, band: tuple[float, float], digits: int = 2) -> str:
    """Return a number marked as inside or outside a band."""
    inside = band[0] <= value <= band[1]
    mark = "in" if inside else "out"
    return f'<span class="{mark}">{value:.{digits}f}{"" if inside else "*"}</span>'
