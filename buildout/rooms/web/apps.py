from django.apps import AppConfig


class RoomsConfig(AppConfig):
    name = "buildout.rooms.web"
    label = "rooms"
