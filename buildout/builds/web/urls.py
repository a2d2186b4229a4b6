from django.urls import path

from buildout.builds.web import views

app_name = "builds"
urlpatterns = [
    path("", views.list_builds, name="list"),
]
