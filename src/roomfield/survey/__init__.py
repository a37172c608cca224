"""The record of a survey as plain typed values: no I/O, no physics."""

from roomfield.survey.action import Action, ActionKind, AdoptedPlan, CostRange, SurfaceRef
from roomfield.survey.amendment import Amendment
from roomfield.survey.dwelling import (
    Dwelling,
    FittedShield,
    FurnitureBox,
    Layer,
    Opening,
    OpeningKind,
    PlanImage,
    Point2,
    Point3,
    Room,
    ShieldPart,
    ShieldSheet,
    Slab,
    Storey,
    Wall,
)
from roomfield.survey.emitter import AntennaPattern, Control, Emitter, Polarisation, Standing
from roomfield.survey.equipment import AudioOutput, CalibrationPoint, DetectorLaw, Meter, ReferenceCheck
from roomfield.survey.observation import (
    Bearing,
    Censoring,
    HeardTechnology,
    LogRecord,
    MediaItem,
    Orientation,
    Origin,
    Reading,
    ReadingKind,
    Recording,
    Scan,
)
from roomfield.survey.place import Place, PlaceKind
from roomfield.survey.record import Assignment, Survey
from roomfield.survey.visit import RadioState, Visit, VisitPurpose

__all__ = [
    "Action", "ActionKind", "AdoptedPlan", "Amendment", "AntennaPattern", "Assignment", "AudioOutput", "Bearing",
    "CalibrationPoint", "Censoring", "Control", "CostRange", "DetectorLaw", "Dwelling", "Emitter", "FittedShield",
    "FurnitureBox", "HeardTechnology", "Layer", "LogRecord", "MediaItem", "Meter", "Opening", "OpeningKind",
    "Orientation", "Origin", "Place", "PlaceKind", "PlanImage", "Point2", "Point3", "Polarisation", "RadioState",
    "Reading", "ReadingKind", "Recording", "ReferenceCheck", "Room", "Scan", "ShieldPart", "ShieldSheet", "Slab",
    "Standing", "Storey", "SurfaceRef", "Survey", "Visit", "VisitPurpose", "Wall",
]  # fmt: skip
