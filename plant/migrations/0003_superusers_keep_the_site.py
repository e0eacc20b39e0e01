"""The first person of a site was its superuser until there were keepers."""

from django.db import migrations


def make_keepers(apps, schema_editor):
    Person, KeeperAct = apps.get_model("plant", "Person"), apps.get_model("plant", "KeeperAct")
    for person in Person.objects.filter(is_superuser=True, is_keeper=False):
        Person.objects.filter(pk=person.pk).update(is_keeper=True, is_superuser=False, is_staff=False)
        KeeperAct.objects.create(person=person, by=None, act="given")


class Migration(migrations.Migration):

    dependencies = [
        ('plant', '0002_the_keeper'),
    ]

    operations = [migrations.RunPython(make_keepers, migrations.RunPython.noop)]
