"""The one way in which forms become HTML."""

from typing import Any

from django import forms
from django.forms.renderers import TemplatesSetting
from django.forms.utils import ErrorList


class FormRenderer(TemplatesSetting):
    """Labels above, help under the label, errors at their field, the unit beside the box."""

    form_template_name = "page/_form.html"
    field_template_name = "page/_field.html"

    def get_template(self, template_name: str) -> Any:
        """Give the template; the list of errors has one of ours."""
        return super().get_template(_OURS.get(template_name, template_name))


_OURS = {ErrorList.template_name: "page/_errors.html", forms.Form.template_name_div: "page/_form.html"}
