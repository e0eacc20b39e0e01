from enum import StrEnum


class Grade(StrEnum):
    SOUND = "sound"
    WATCH = "watch"
    ACT = "act"
