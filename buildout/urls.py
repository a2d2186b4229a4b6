"""Addresses, one include for each app; each app groups its own by the object they act on."""

from django.urls import include, path

urlpatterns = [
    path("", include("buildout.builds.web.urls")),
    path("", include("buildout.people.web.urls")),
    path("", include("buildout.rooms.web.urls")),
    path("", include("estimating.web.urls")),
    path("", include("scheduling.web.urls")),
    path("", include("buildout.changes.web.urls")),
]
