"""A drawing with its words: what a page shows as one figure."""

from dataclasses import dataclass, field

from .svg import element

WIDTH = 360.0
"""Of the drawing's own units, in which type is 12 high."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Drawing:
    """One figure of a page.

    Attributes:
        title: what is drawn, with the unit.
        body: the elements, in a space `WIDTH` wide and `height` high.
        height: of that space.
        words: what is to be seen, for those who cannot see it.
        key: class of each kind of line or mark, and what it stands for.
        note: one sentence below the title; "" for none.
        wide: the drawing takes the whole column.
    """

    title: str
    body: str
    height: float
    words: str
    key: tuple[tuple[str, str], ...] = field(default=())
    note: str = ""
    wide: bool = False

    @property
    def svg(self) -> str:
        """The drawing as one element that says what it shows."""
        return element(
            "svg",
            self.body,
            viewBox=f"0 0 {WIDTH:g} {self.height:g}",
            role="img",
            aria_label=f"{self.title}. {self.words}",
        )
