from django.urls import path

from scheduling.web import board, editing, helpers, progress, views

app_name = "scheduling"
urlpatterns = [
    # The crew days sheet: /builds/<build>/days/…
    path("builds/<int:build_id>/days/", views.days, name="days"),
    path("builds/<int:build_id>/days/poster/", views.poster, name="poster"),
    path("builds/<int:build_id>/days/link/new/", views.new_link, name="new-link"),
    path("builds/<int:build_id>/days/link/revoke/", views.revoke_link, name="revoke-link"),
    path("builds/<int:build_id>/days/notices/<int:notice_id>/told/", views.told, name="told"),
    path("builds/<int:build_id>/days/sign-ups/<int:sign_up_id>/take-out/", views.take_out, name="take-out"),
    path("builds/<int:build_id>/days/edit/", editing.edit_days, name="edit-days"),
    path("builds/<int:build_id>/days/crew/", editing.edit_crew, name="edit-crew"),
    path("builds/<int:build_id>/days/dates/", editing.edit_dates, name="edit-dates"),
    # The board of one day: /builds/<build>/days/<day>/…
    path("builds/<int:build_id>/days/<str:day>/reminders/", views.reminders, name="reminders"),
    path("builds/<int:build_id>/days/<str:day>/board/", board.board, name="board"),
    path("builds/<int:build_id>/days/<str:day>/board/task/<str:code>/", board.board_task, name="board-task"),
    path("builds/<int:build_id>/days/<str:day>/board/mark/", board.board_mark, name="board-mark"),
    path("builds/<int:build_id>/days/<str:day>/board/photo/<int:mark_id>/", board.board_photo, name="board-photo"),
    path("builds/<int:build_id>/days/<str:day>/board/people/", board.board_people, name="board-people"),
    path("builds/<int:build_id>/days/<str:day>/board/settle/<int:mark_id>/", board.board_settle, name="board-settle"),
    path("builds/<int:build_id>/days/<str:day>/board/end/", board.board_end, name="board-end"),
    path("builds/<int:build_id>/days/<str:day>/board/replan/", board.board_replan, name="board-replan"),
    path("builds/<int:build_id>/days/<str:day>/board/sheet/", board.day_sheet, name="day-sheet"),
    path("board-worker.js", board.board_worker, name="board-worker"),
    # Tasks: /builds/<build>/tasks/<code>/…
    path("builds/<int:build_id>/tasks/", editing.tasks, name="tasks"),
    path("builds/<int:build_id>/tasks/own/", editing.new_task, name="new-task"),
    path("builds/<int:build_id>/tasks/<str:code>/", editing.task, name="task"),
    path("builds/<int:build_id>/tasks/<str:code>/rate/", editing.set_rate, name="set-rate"),
    path("builds/<int:build_id>/tasks/<str:code>/usual-rate/", editing.usual_rate, name="usual-rate"),
    path("builds/<int:build_id>/tasks/<str:code>/pin/", editing.pin, name="pin"),
    path("builds/<int:build_id>/tasks/<str:code>/unpin/", editing.unpin, name="unpin"),
    path("builds/<int:build_id>/tasks/<str:code>/done/", editing.done, name="done"),
    path("builds/<int:build_id>/tasks/<str:code>/not-done/", editing.not_done, name="not-done"),
    path("builds/<int:build_id>/tasks/<str:code>/leave-out/", editing.leave_out, name="leave-out"),
    path("builds/<int:build_id>/tasks/<str:code>/take-in/", editing.take_in, name="take-in"),
    # The progress sheet
    path("builds/<int:build_id>/progress/", progress.progress, name="progress"),
    # Helpers, by the link they were given: /join/<link>/…
    path("join/<str:token>/", helpers.join, name="join"),
    path("join/<str:token>/<str:day>/", helpers.join_day, name="join-day"),
    path("join/<str:token>/<str:day>/anywhere/", helpers.join_as, {"task": ""}, name="join-anywhere"),
    path("join/<str:token>/<str:day>/task/<str:task>/", helpers.join_as, name="join-task"),
    # A helper's own page: /my/<link>/…
    path("my/<str:token>/", helpers.my, name="my"),
    path("my/<str:token>/calendar.ics", helpers.calendar, name="calendar"),
    path("my/<str:token>/feed.ics", helpers.feed, name="feed"),
    path("my/<str:token>/swap/", helpers.swap, name="swap"),
    path("my/<str:token>/swap/<int:swap_id>/", helpers.answer_swap, name="answer-swap"),
    path("my/<str:token>/remove/", helpers.remove, name="remove"),
    path("my/<str:token>/seen/<int:notice_id>/", helpers.seen, name="seen"),
    path("my/<str:token>/change/", helpers.change, name="change"),
    path("my/<str:token>/change/<str:day>/", helpers.change_day, name="change-day"),
    path("my/<str:token>/move/", helpers.move, name="move"),
    path("my/<str:token>/board/", board.my_board, name="my-board"),
    path("my/<str:token>/board/task/<str:code>/", board.my_board_task, name="my-board-task"),
    path("my/<str:token>/board/mark/", board.my_board_mark, name="my-board-mark"),
    path("my/<str:token>/board/photo/<int:mark_id>/", board.my_board_photo, name="my-board-photo"),
    path("my/<str:token>/withdraw/", helpers.withdraw, name="withdraw"),
]
