from django.urls import path

from buildout.changes.web import views

app_name = "changes"
urlpatterns = [
    path("builds/new/", views.new_build, name="new"),
    path("builds/<int:build_id>/", views.overview, name="overview"),
    # A proposal: /builds/<build>/proposals/<proposal>/…
    path("builds/<int:build_id>/proposals/<int:proposal_id>/", views.proposal, name="proposal"),
    path("builds/<int:build_id>/proposals/<int:proposal_id>/progress/", views.progress, name="progress"),
    path("builds/<int:build_id>/proposals/<int:proposal_id>/apply/", views.apply, name="apply"),
    path("builds/<int:build_id>/proposals/<int:proposal_id>/reject/", views.reject, name="reject"),
    path("builds/<int:build_id>/proposals/<int:proposal_id>/again/", views.again, name="again"),
    # The journal and what it tells of
    path("builds/<int:build_id>/journal/", views.journal, name="journal"),
    path("builds/<int:build_id>/revisions/<int:number>/", views.revision, name="revision"),
    path("builds/<int:build_id>/compare/", views.compare_revisions, name="compare"),
    path("builds/<int:build_id>/to-today/", views.to_today, name="to-today"),
]
