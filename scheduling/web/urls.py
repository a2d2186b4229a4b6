from django.urls import path

from scheduling.web import board, buying, by_hour, editing, helpers, plan_sheet, progress, task_editing, views

app_name = "scheduling"
urlpatterns = [
    # The crew days sheet: /builds/<build>/days/…
    path("builds/<int:build_id>/days/", views.days, name="days"),
    path("builds/<int:build_id>/days/poster/", views.poster, name="poster"),
    path("builds/<int:build_id>/days/link/new/", views.new_link, name="new-link"),
    path("builds/<int:build_id>/days/link/revoke/", views.revoke_link, name="revoke-link"),
    path("builds/<int:build_id>/days/notices/<int:notice_id>/told/", views.told, name="told"),
    path("builds/<int:build_id>/days/sign-ups/<int:sign_up_id>/take-out/", views.take_out, name="take-out"),
    path("builds/<int:build_id>/days/sign-ups/<int:sign_up_id>/link/", views.renew_link, name="renew-link"),
    path("builds/<int:build_id>/days/by-hour/", by_hour.by_hour, name="by-hour"),
    path("builds/<int:build_id>/days/by-hour/<int:number>/", by_hour.hour, name="hour"),
    path("builds/<int:build_id>/days/by-hour/<int:number>/bring-back/", by_hour.bring_back, name="bring-back"),
    path("builds/<int:build_id>/days/edit/", editing.edit_days, name="edit-days"),
    path("builds/<int:build_id>/days/crew/", editing.edit_crew, name="edit-crew"),
    path("builds/<int:build_id>/days/helpers/", editing.edit_helpers, name="edit-helpers"),
    path("builds/<int:build_id>/days/hours/", editing.edit_hours, name="edit-hours"),
    path("builds/<int:build_id>/days/dates/", editing.edit_dates, name="edit-dates"),
    # What boards ask for: /builds/<build>/buying/…
    path("builds/<int:build_id>/buying/", buying.buying, name="buying"),
    path("builds/<int:build_id>/buying/<int:mark_id>/plan/", buying.plan_it, name="buying-plan"),
    path("builds/<int:build_id>/buying/<int:mark_id>/bought/", buying.bought, name="buying-bought"),
    path("builds/<int:build_id>/buying/<int:mark_id>/have-it/", buying.have_it, name="buying-have-it"),
    # The board of one day: /builds/<build>/days/<day>/…
    path("builds/<int:build_id>/days/<str:day>/reminders/", views.reminders, name="reminders"),
    path("builds/<int:build_id>/days/<str:day>/poster/", views.poster, name="day-poster"),
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
    # The whole plan on one sheet
    path("builds/<int:build_id>/plan/", plan_sheet.whole_plan, name="plan"),
    path("builds/<int:build_id>/plan/pdf/", plan_sheet.whole_plan_paper, name="plan-pdf"),
    path("builds/<int:build_id>/plan/way-out/<int:number>/", editing.way_out, name="way-out"),
    # Tasks: /builds/<build>/tasks/<code>/…
    path("builds/<int:build_id>/tasks/", task_editing.tasks, name="tasks"),
    path("builds/<int:build_id>/tasks/own/", task_editing.new_task, name="new-task"),
    path("builds/<int:build_id>/tasks/rates/", task_editing.rates, name="rates"),
    path("builds/<int:build_id>/tasks/<str:code>/", task_editing.task, name="task"),
    *(
        path(f"builds/<int:build_id>/tasks/<str:code>/{address}/", view, {"entry": entry}, name=name)
        for entry, view, address, name in (
            ("rate", task_editing.put, "rate", "set-rate"),
            ("rate", task_editing.take_back, "usual-rate", "usual-rate"),
            ("change", task_editing.put, "change", "set-change"),
            ("change", task_editing.take_back, "usual-way", "usual-way"),
            ("pin", task_editing.put, "pin", "pin"),
            ("pin", task_editing.take_back, "unpin", "unpin"),
            ("hold", task_editing.put, "not-before", "hold"),
            ("hold", task_editing.take_back, "any-day", "unhold"),
            ("appointment", task_editing.put, "appointment", "appoint"),
            ("appointment", task_editing.take_back, "no-appointment", "unappoint"),
        )
    ),
    path("builds/<int:build_id>/tasks/<str:code>/put-on/", task_editing.put_on, name="put-on"),
    path("builds/<int:build_id>/tasks/<str:code>/take-off/", task_editing.take_off, name="take-off"),
    path("builds/<int:build_id>/tasks/<str:code>/own/", task_editing.edit_own, name="edit-own"),
    path("builds/<int:build_id>/tasks/<str:code>/done/", task_editing.done, name="done"),
    path("builds/<int:build_id>/tasks/<str:code>/begun/", task_editing.begun, name="begun"),
    path("builds/<int:build_id>/tasks/<str:code>/not-done/", task_editing.not_done, name="not-done"),
    path("builds/<int:build_id>/tasks/<str:code>/leave-out/", task_editing.leave_out, name="leave-out"),
    path("builds/<int:build_id>/tasks/<str:code>/take-in/", task_editing.take_in, name="take-in"),
    # The progress sheet
    path("builds/<int:build_id>/progress/", progress.progress, name="progress"),
    path("builds/<int:build_id>/progress/learn/", progress.propose_learned, name="propose-learned"),
    path("builds/<int:build_id>/progress/forget/", progress.forget_learned, name="forget-learned"),
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
