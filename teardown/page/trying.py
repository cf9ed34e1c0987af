"""Has a form's deed done, and brings its refusal back to the form."""

from collections.abc import Callable
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from teardown.science.errors import Refusal


def tried(form: forms.BaseForm, deed: Callable[[], Any]) -> Any:
    """Do the deed of a valid form and give what it made; None if the form or the deed refuses.

    What the deed says of a field stands at that field, the rest above the form; nothing typed is lost.
    """
    if not form.is_valid():
        return None
    try:
        return deed()
    except ValidationError as refusal:
        told = refusal.message_dict if hasattr(refusal, "error_dict") else {"": refusal.messages}
        for field, sentences in told.items():
            form.add_error(field if field in form.fields else None, sentences)
    except Refusal as refusal:
        form.add_error(None, str(refusal))
    return None
