"""Wear of the skid block and position of movable bodywork, against limits of the rule book that the user enters."""

from panelfem.wear.forecast import Forecast, Reading, forecast
from panelfem.wear.line import Line, fitted
from panelfem.wear.position import Position, position
from panelfem.wear.verdict import Verdict

__all__ = ["Forecast", "Line", "Position", "Reading", "Verdict", "fitted", "forecast", "position"]
