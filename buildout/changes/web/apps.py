from django.apps import AppConfig


class ChangesConfig(AppConfig):
    name = "buildout.changes.web"
    label = "changes"

    def ready(self) -> None:
        from buildout.builds.web.services import open_office
        from buildout.changes.web.office import LazyOffice

        open_office(LazyOffice())
