"""A sample named by its code, as other apps ask for one."""

from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from teardown.dissection.models import Sample


class SampleField(forms.CharField):
    """The code of a sample, in any case."""

    def clean(self, value: Any) -> Any:
        """Find the sample.

        Raises
        ------
        ValidationError
            With the code that is not known.
        """
        code = super().clean(value)
        if not code:
            return None
        sample = Sample.objects.filter(code__iexact=code.strip()).first()
        if sample is None:
            raise ValidationError(
                f"No sample has the code {code}. Codes stand on the labels and under Samples."
            )
        return sample
