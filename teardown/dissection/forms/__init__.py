"""What may be typed at the desk."""

from teardown.dissection.forms.desk import (
    AmendForm,
    BackForm,
    CautionForm,
    CheckForm,
    CloseForm,
    CutForm,
    HandOverForm,
    InstrumentForm,
    LabelPhotoForm,
    LabelsForm,
    LateForm,
    MountForm,
    OrderForm,
    PolishForm,
    WithdrawForm,
)
from teardown.dissection.forms.planning import PlanForm
from teardown.dissection.forms.samples import SampleField

__all__ = [
    "AmendForm",
    "BackForm",
    "CautionForm",
    "CheckForm",
    "CloseForm",
    "CutForm",
    "HandOverForm",
    "InstrumentForm",
    "LabelPhotoForm",
    "LabelsForm",
    "LateForm",
    "MountForm",
    "OrderForm",
    "PlanForm",
    "PolishForm",
    "SampleField",
    "WithdrawForm",
]
