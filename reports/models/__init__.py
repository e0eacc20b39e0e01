"""Every model of the app."""

from .effect import StudyWindow
from .months import MonthlyReport, MonthMail, Subscription

__all__ = ["MonthMail", "MonthlyReport", "StudyWindow", "Subscription"]
