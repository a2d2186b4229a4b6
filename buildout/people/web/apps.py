from django.apps import AppConfig


class PeopleConfig(AppConfig):
    name = "buildout.people.web"
    label = "people"
