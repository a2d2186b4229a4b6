from django.urls import path

from buildout.changes.web import options_views, ready_made, shipped, views

app_name = "changes"
OPTIONS = "builds/<int:build_id>/options/<int:comparison_id>/"
urlpatterns = [
    path("builds/new/", views.new_build, name="new"),
    path("builds/<int:build_id>/", views.overview, name="overview"),
    # A proposal: /builds/<build>/proposals/<proposal>/…
    path("builds/<int:build_id>/proposals/<int:proposal_id>/", views.proposal, name="proposal"),
    path("builds/<int:build_id>/proposals/<int:proposal_id>/progress/", views.progress, name="progress"),
    path(
        "builds/<int:build_id>/proposals/<int:proposal_id>/way-out/<int:number>/",
        views.way_out,
        name="proposal-way-out",
    ),
    path("builds/<int:build_id>/proposals/<int:proposal_id>/apply/", views.apply, name="apply"),
    path("builds/<int:build_id>/proposals/<int:proposal_id>/reject/", views.reject, name="reject"),
    path("builds/<int:build_id>/proposals/<int:proposal_id>/again/", views.again, name="again"),
    # Systems of a room beside each other
    path("builds/<int:build_id>/options/rooms/<str:room_id>/", options_views.choose, name="choose-options"),
    path(OPTIONS, options_views.options, name="options"),
    path(f"{OPTIONS}options.pdf", options_views.pdf, name="options-pdf"),
    path(f"{OPTIONS}progress/", options_views.progress, name="options-progress"),
    path(f"{OPTIONS}switch/", options_views.switch, name="switch-option"),
    path(f"{OPTIONS}discard/", options_views.discard, name="discard-options"),
    # Ready-made offers beside making it ourselves
    path("builds/<int:build_id>/ready-made/", ready_made.ready_made, name="ready-made"),
    path("builds/<int:build_id>/ready-made/new/", ready_made.edit_offer, name="new-ready-made"),
    path("builds/<int:build_id>/ready-made/<int:number>/", ready_made.edit_offer, name="edit-ready-made"),
    path("builds/<int:build_id>/ready-made/<int:number>/remove/", ready_made.remove_offer, name="remove-ready-made"),
    path("builds/<int:build_id>/ready-made/<int:number>/take/", ready_made.take_offer, name="take-ready-made"),
    path("builds/<int:build_id>/ready-made/<int:number>/make-here/", ready_made.make_instead, name="make-here"),
    # Systems that ship with the program
    path("builds/<int:build_id>/shipped/", shipped.shipped, name="shipped-systems"),
    path("builds/<int:build_id>/shipped/<str:section>/<str:system>/", shipped.take_in, name="take-in-shipped"),
    # The journal and what it tells of
    path("builds/<int:build_id>/journal/", views.journal, name="journal"),
    path("builds/<int:build_id>/revisions/<int:number>/", views.revision, name="revision"),
    path("builds/<int:build_id>/compare/", views.compare_revisions, name="compare"),
    path("builds/<int:build_id>/to-today/", views.to_today, name="to-today"),
]
