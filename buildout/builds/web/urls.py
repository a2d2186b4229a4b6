from django.urls import path

from buildout.builds.web import members, views

app_name = "builds"
urlpatterns = [
    path("", views.list_builds, name="list"),
    # Who has a part in a build: /builds/<build>/people/…
    path("builds/<int:build_id>/people/", members.members, name="members"),
    path("builds/<int:build_id>/people/invite/", members.invite, name="invite"),
    path("builds/<int:build_id>/people/<int:member_id>/link/", members.new_member_link, name="new-member-link"),
    path("builds/<int:build_id>/people/<int:member_id>/remove/", members.remove_member, name="remove-member"),
]
