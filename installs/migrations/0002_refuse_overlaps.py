"""One device in one place at a time, for closed periods too.

PostgreSQL holds this with exclusion constraints. SQLite has none, so triggers raise the same refusal; a later change of
this table on SQLite makes the table anew and so must make the triggers anew (a test looks for them).
"""

from django.db import migrations

POSTGRESQL = [
    "CREATE EXTENSION IF NOT EXISTS btree_gist",
    """ALTER TABLE installs_installation ADD CONSTRAINT installation_device_no_overlap EXCLUDE USING gist
       (device_id WITH =, tstzrange(installed_at, removed_at) WITH &&)""",
    """ALTER TABLE installs_installation ADD CONSTRAINT installation_place_no_overlap EXCLUDE USING gist
       (conveyor_id WITH =, strand WITH =, chainage_m WITH =, tstzrange(installed_at, removed_at) WITH &&)""",
]
POSTGRESQL_BACK = [
    "ALTER TABLE installs_installation DROP CONSTRAINT IF EXISTS installation_device_no_overlap",
    "ALTER TABLE installs_installation DROP CONSTRAINT IF EXISTS installation_place_no_overlap",
]

SAME_TIME = """other.id IS NOT NEW.id
      AND (other.removed_at IS NULL OR other.removed_at > NEW.installed_at)
      AND (NEW.removed_at IS NULL OR NEW.removed_at > other.installed_at)"""


def trigger(name: str, event: str, same: str) -> str:
    return f"""CREATE TRIGGER {name}_{event.lower()} BEFORE {event} ON installs_installation
    WHEN EXISTS (SELECT 1 FROM installs_installation other WHERE {same} AND {SAME_TIME})
    BEGIN SELECT RAISE(ABORT, '{name}'); END"""


RULES = {
    "installation_device_no_overlap": "other.device_id = NEW.device_id",
    "installation_place_no_overlap": "other.conveyor_id = NEW.conveyor_id AND other.strand = NEW.strand "
    "AND other.chainage_m = NEW.chainage_m",
}


def add(apps, schema_editor):
    if schema_editor.connection.vendor == "postgresql":
        for statement in POSTGRESQL:
            schema_editor.execute(statement)
    else:
        for name, same in RULES.items():
            for event in ("INSERT", "UPDATE"):
                schema_editor.execute(f"DROP TRIGGER IF EXISTS {name}_{event.lower()}")
                schema_editor.execute(trigger(name, event, same))


def take_away(apps, schema_editor):
    if schema_editor.connection.vendor == "postgresql":
        for statement in POSTGRESQL_BACK:
            schema_editor.execute(statement)
    else:
        for name in RULES:
            for event in ("INSERT", "UPDATE"):
                schema_editor.execute(f"DROP TRIGGER IF EXISTS {name}_{event.lower()}")


class Migration(migrations.Migration):
    dependencies = [("installs", "0001_tables")]
    operations = [migrations.RunPython(add, take_away)]
