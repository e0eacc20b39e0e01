"""Every model of the app."""

from .effect import StudyNote, StudyWindow
from .months import MonthlyReport, MonthMail, Subscription

__all__ = ["MonthMail", "MonthlyReport", "StudyNote", "StudyWindow", "Subscription"]
