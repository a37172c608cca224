"""roomfield: from hand-meter readings in a home to a report that stands up.

>>> import roomfield as rf
>>> survey = rf.open_demo()            # or rf.open("roomfield.sqlite")
>>> findings = rf.assess(survey)
>>> len(findings.places)
21

Names are loaded when they are first used, so that ``import roomfield`` stays quick.
"""

from __future__ import annotations

from importlib import import_module
from typing import Any

__version__ = "0.1.0"

_NAMES = {
    "open": ("roomfield.workbench.record.job", "open_job"),
    "open_demo": ("roomfield.workbench.notebook", "open_demo"),
    "begin": ("roomfield.workbench.notebook_entries", "begin"),
    "bring_plan": ("roomfield.workbench.notebook_entries", "bring_plan"),
    "add_place": ("roomfield.workbench.notebook_entries", "add_place"),
    "take_in": ("roomfield.workbench.notebook_entries", "take_in"),
    "take_spectrum": ("roomfield.workbench.notebook_entries", "take_spectrum"),
    "listen": ("roomfield.workbench.notebook_entries", "listen"),
    "compare_recordings": ("roomfield.workbench.record.sound_questions", "compare_recordings"),
    "read_log": ("roomfield.workbench.notebook_entries", "read_log"),
    "shares": ("roomfield.workbench.notebook_entries", "shares"),
    "shares_frame": ("roomfield.workbench.notebook_entries", "shares_frame"),
    "level_map": ("roomfield.workbench.notebook_entries", "level_map"),
    "map_arrays": ("roomfield.workbench.notebook_arrays", "map_arrays"),
    "level_draws": ("roomfield.workbench.notebook_arrays", "level_draws"),
    "plan_from_frame": ("roomfield.workbench.notebook_arrays", "plan_from_frame"),
    "assess": ("roomfield.workbench.notebook", "assess"),
    "predict": ("roomfield.workbench.notebook", "predict"),
    "plans": ("roomfield.workbench.notebook", "plans"),
    "measure_next": ("roomfield.workbench.notebook", "measure_next"),
    "what_changed": ("roomfield.workbench.notebook", "what_changed"),
    "add_action": ("roomfield.workbench.notebook", "add_action"),
    "agree": ("roomfield.workbench.notebook", "agree"),
    "sign_off": ("roomfield.workbench.notebook_entries", "sign_off"),
    "verify": ("roomfield.workbench.notebook", "verify"),
    "wall_loss_db": ("roomfield.workbench.notebook_physics", "wall_loss_db"),
    "edge_loss_db": ("roomfield.field.knife_edge", "edge_loss_db"),
    "scan_maximum_db": ("roomfield.workbench.notebook_physics", "scan_maximum_db"),
    "field_at": ("roomfield.workbench.notebook_physics", "field_at"),
    "error_budget": ("roomfield.workbench.notebook_physics", "error_budget"),
    "density_from_eirp": ("roomfield.quantities.convert", "density_from_eirp"),
    "limit_at": ("roomfield.references.limits", "lookup"),
    "plot_levels": ("roomfield.workbench.notebook_plots", "plot_levels"),
    "plot_map": ("roomfield.workbench.notebook_plots", "plot_map"),
    "levels_from_points": ("roomfield.workbench.model.levels_from_points", "levels_from_points"),
    "Findings": ("roomfield.workbench.notebook", "Findings"),
    "Job": ("roomfield.workbench.record.job", "Job"),
    "Survey": ("roomfield.survey", "Survey"),
    "Place": ("roomfield.survey", "Place"),
    "Emitter": ("roomfield.survey", "Emitter"),
    "Meter": ("roomfield.survey", "Meter"),
    "Instrument": ("roomfield.workbench.record.spectrum_intake", "Instrument"),
    "Visit": ("roomfield.survey", "Visit"),
    "RadioState": ("roomfield.survey", "RadioState"),
    "Reading": ("roomfield.survey", "Reading"),
    "Kind": ("roomfield.quantities", "Kind"),
    "UncertainLevel": ("roomfield.quantities", "UncertainLevel"),
    "RoomfieldError": ("roomfield.errors", "RoomfieldError"),
}

__all__ = ["__version__", *_NAMES]


def __getattr__(name: str) -> Any:
    if name not in _NAMES:
        raise AttributeError(f"module 'roomfield' has no attribute {name!r}")
    module, attribute = _NAMES[name]
    return getattr(import_module(module), attribute)


def __dir__() -> list[str]:
    return sorted(__all__)
