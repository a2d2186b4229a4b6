from django.apps import AppConfig


class EstimatingConfig(AppConfig):
    name = "estimating.web"
    label = "estimating"

    def ready(self) -> None:
        from buildout.rooms.web.cutting import open_workshop
        from estimating.web.cutting import cutting

        open_workshop(cutting)
