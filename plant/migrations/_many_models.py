"""Creates all tables of an app in one operation.

After each `CreateModel` Django renders every model that is related to the new one, and here nearly all are related to
one another through the person who wrote a row: with a hundred models that took most of the time of a first start. This
operation states all models first and renders them once. So it may also name, in any order, models that point at each
other.
"""

from django.db.migrations.operations import CreateModel
from django.db.migrations.operations.base import Operation, OperationCategory


class CreateModels(Operation):
    """The given `CreateModel` operations, as one."""

    category = OperationCategory.ADDITION
    reduces_to_sql = True

    def __init__(self, creations: list[CreateModel]):
        self.creations = creations

    def deconstruct(self):
        return self.__class__.__qualname__, [self.creations], {}

    def state_forwards(self, app_label, state):
        state.__dict__.pop("apps", None)  # what is rendered so far; the next one to ask renders all, once
        for each in self.creations:
            each.state_forwards(app_label, state)

    def database_forwards(self, app_label, schema_editor, from_state, to_state):
        for each in self.creations:
            each.database_forwards(app_label, schema_editor, from_state, to_state)

    def database_backwards(self, app_label, schema_editor, from_state, to_state):
        for each in reversed(self.creations):
            each.database_backwards(app_label, schema_editor, from_state, to_state)

    def describe(self):
        return f"Create {len(self.creations)} models"
