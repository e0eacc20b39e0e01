"""What apps above may want to know of rows. Sent by query sets, in the transaction that writes."""

from django.dispatch import Signal

# Rows of a model were written without being saved one by one: by `bulk_create` or `update` of a query set. `plants` are
# the keys of the plants that they belong to, None for all of them; `rows` are they themselves, None where only the data
# base knows which. Saving and deleting have Django's own signals.
rows_written = Signal()
