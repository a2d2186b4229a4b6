from django.apps import AppConfig


class BuildsConfig(AppConfig):
    name = "buildout.builds.web"
    label = "builds"
