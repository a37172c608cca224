"""What the meter's number is worth: a reading becomes an uncertain level."""

from roomfield.instrument.calibration import Correction, correction, gain_key, tolerance_db
from roomfield.instrument.checks import IndividualsChart, individuals_chart, meter_chart
from roomfield.instrument.clipping import with_clipped_averages
from roomfield.instrument.correct import MeteredLevel, to_level
from roomfield.instrument.floor import bounded_value, pulse_response_db
from roomfield.instrument.pickup import record_change, shortfall, three_axis_sum_w_m2
from roomfield.instrument.repeat_statistics import between, has_drifted
from roomfield.instrument.repeated_readings import CombinedLevel, combine, sum_axes
from roomfield.instrument.several_meters import weighed_together
from roomfield.instrument.shortest_pulse import shortest_pulse_s

__all__ = [
    "CombinedLevel",
    "Correction",
    "IndividualsChart",
    "MeteredLevel",
    "between",
    "bounded_value",
    "combine",
    "correction",
    "gain_key",
    "has_drifted",
    "individuals_chart",
    "meter_chart",
    "pulse_response_db",
    "record_change",
    "shortest_pulse_s",
    "shortfall",
    "sum_axes",
    "three_axis_sum_w_m2",
    "to_level",
    "tolerance_db",
    "weighed_together",
    "with_clipped_averages",
]
