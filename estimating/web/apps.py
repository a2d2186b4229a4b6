from django.apps import AppConfig


class EstimatingConfig(AppConfig):
    name = "estimating.web"
    label = "estimating"
