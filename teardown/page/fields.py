"""The number field: text in, a number that knows its typed form out. The one way of entering numbers."""

from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from teardown.page.numbers import EnteredNumber, UnreadableNumber, read_number
from teardown.page.typesetting import plain_number


class NumberInput(forms.TextInput):
    """A text box that asks a tablet for its decimal keys and shows the unit beside it.

    Not ``type=number``: browsers differ on the comma there, and a scroll over the box would change the value.
    """

    def __init__(self, unit: str = "", attrs: dict[str, Any] | None = None) -> None:
        """Keep the unit for the field template."""
        self.unit = unit
        super().__init__(
            {"inputmode": "decimal", "autocomplete": "off", "class": "number", "size": "10", **(attrs or {})}
        )


class NumberField(forms.Field):
    """A decimal number with its unit and, where known, the range in which it can lie.

    ``cleaned_data`` holds an `EnteredNumber` (a float with ``.text``), or None for an empty field that may
    be empty.

    Parameters
    ----------
    unit : str
        Shown beside the box; never typed.
    low, high : float, optional
        Refused outside, ends included, with a sentence that names the range and the unit.
    above : float, optional
        Refused at or below.
    whole : bool
        Only whole numbers.
    """

    widget = NumberInput

    def __init__(
        self,
        *,
        unit: str = "",
        low: float | None = None,
        high: float | None = None,
        above: float | None = None,
        whole: bool = False,
        **kwargs: Any,
    ) -> None:
        """Keep range and unit; everything else is a field's own."""
        self.unit, self.low, self.high, self.above, self.whole = unit, low, high, above, whole
        kwargs.setdefault("widget", NumberInput(unit=unit))
        super().__init__(**kwargs)

    def to_python(self, value: object) -> EnteredNumber | None:
        """Read what was typed."""
        if value is None or (isinstance(value, str) and not value.strip()):
            return None
        if isinstance(value, EnteredNumber):
            return value
        try:
            return read_number(value if isinstance(value, str) else repr(value))
        except UnreadableNumber as refusal:
            raise ValidationError(str(refusal), code="unreadable") from refusal

    def validate(self, value: EnteredNumber | None) -> None:
        """Hold the number to its range."""
        super().validate(value)
        if value is None:
            return
        if self.whole and not value.is_integer():
            raise ValidationError(f"Enter a whole number; this was {value.text}.", code="not_whole")
        if self._outside(value):
            raise ValidationError(
                f"{self._range()} This was {value.text}{self._unit()}.", code="out_of_range"
            )

    def has_changed(self, initial: object, data: object) -> bool:
        """Compare numbers, so that 0,5 beside a stored 0.5 is no change."""
        try:
            return self.to_python(initial) != self.to_python(data)
        except ValidationError:
            return True

    def prepare_value(self, value: object) -> object:
        """Show what was typed when it is known, else the shortest text that reads back to the same number."""
        if isinstance(value, EnteredNumber):
            return value.text
        return plain_number(value) if isinstance(value, float) else value

    def _outside(self, value: float) -> bool:
        return (
            (self.low is not None and value < self.low)
            or (self.high is not None and value > self.high)
            or (self.above is not None and value <= self.above)
        )

    def _unit(self) -> str:
        return f" {self.unit}" if self.unit else ""

    def _range(self) -> str:
        least = f"of at least {plain_number(self.low)}" if self.low is not None else ""
        if self.above is not None:
            least = f"above {plain_number(self.above)}"
        most = f"{'' if least else 'of '}at most {plain_number(self.high)}" if self.high is not None else ""
        return f"Enter a number {' and '.join(filter(None, (least, most)))}{self._unit()}."
