"""Every model of the app."""

from .effect import StudyWindow

__all__ = ["StudyWindow"]
