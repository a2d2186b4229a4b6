from django.urls import path

from buildout.rooms.web import gate, history, photos, sheets, starts, tape, views

app_name = "rooms"
ROOMS = "builds/<int:build_id>/rooms/"
ROOM = f"{ROOMS}<str:room_id>/"
urlpatterns = [
    path(ROOMS, views.list_rooms, name="list"),
    path(f"{ROOMS}new/", views.new_room, name="new"),
    path(f"{ROOMS}new/rectangle/", starts.start_room, {"way": "rectangle"}, name="new-rectangle"),
    path(f"{ROOMS}new/walls/", starts.start_room, {"way": "walls"}, name="new-walls"),
    path(f"{ROOMS}new/drawing/", starts.start_room, {"way": "drawing"}, name="new-drawing"),
    path("builds/<int:build_id>/plans/", sheets.together, name="together"),
    path("builds/<int:build_id>/plans/rooms.<str:kind>", sheets.together_file, name="together-file"),
    path("builds/<int:build_id>/photos/<str:name>", photos.photo, name="photo"),
    # One room
    path(ROOM, views.room, name="room"),
    path(f"{ROOM}plan.svg", views.drawing, name="drawing"),
    path(f"{ROOM}plan.dxf", views.dxf, name="dxf"),
    path(f"{ROOM}plan.pdf", views.pdf, name="pdf"),
    path(f"{ROOM}figures/", views.figures, name="figures"),
    path(f"{ROOM}walls/", sheets.elevations, name="elevations"),
    path(f"{ROOM}walls.pdf", sheets.elevations_pdf, name="elevations-pdf"),
    path(f"{ROOM}compare/", history.compare, name="compare"),
    path(f"{ROOM}copy/", history.copy_room, name="copy"),
    path(f"{ROOM}gate/", gate.gate, name="gate"),
    path(f"{ROOM}gate/take-back/", gate.take_back, name="take-back"),
    path(f"{ROOM}tools/", views.tools, name="tools"),
    path(f"{ROOM}corners/", views.edit_room, name="edit"),
    path(f"{ROOM}delete/", views.delete_room, name="delete"),
    path(f"{ROOM}move-wall/", views.move, name="move-wall"),
    path(f"{ROOM}add-readings/", views.add_readings, name="add-readings"),
    # Taping on site
    path(f"{ROOM}tape/", tape.tape, name="tape"),
    path(f"{ROOM}tape/take/", tape.take, name="take"),
    path(f"{ROOM}tape/list/", tape.take_list, name="take-list"),
    path(f"{ROOM}tape/file/", tape.take_file, name="take-file"),
    path(f"{ROOM}tape/other/", tape.take_other, name="take-other"),
    path(f"{ROOM}tape/propose/", tape.propose, name="propose-taped"),
    path(f"{ROOM}tape/<str:reading_id>/out/", tape.drop, name="drop-taped"),
    # Its readings, columns, features, strips kept clear and walls
    path(f"{ROOM}<str:part>/new/", views.add_part, name="add-part"),
    path(f"{ROOM}<str:part>/<str:part_id>/", views.edit_part, name="edit-part"),
    path(f"{ROOM}<str:part>/<str:part_id>/delete/", views.delete_part, name="delete-part"),
]
