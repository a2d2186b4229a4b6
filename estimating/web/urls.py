from django.urls import path

from estimating.web.views import (
    budget,
    deliveries,
    in_short,
    layouts,
    ledger,
    orders,
    quote_entry,
    quotes,
    requests,
    suppliers,
    systems,
    take_off,
)

app_name = "estimating"
BUILD = "builds/<int:build_id>/"
ORDER = f"{BUILD}orders/<int:number>/"
SUPPLIER = f"{BUILD}suppliers/<str:supplier_id>/"
REQUEST = f"{BUILD}requests/<int:number>/"
urlpatterns = [
    # Systems, products and what room gets which
    path(f"{BUILD}systems/", systems.systems, name="systems"),
    path(f"{BUILD}systems/rooms/<str:room_id>/", systems.fitout, name="fitout"),
    path(f"{BUILD}systems/products/new/", systems.product, name="new-product"),
    path(f"{BUILD}systems/products/<str:product_id>/", systems.product, name="product"),
    path(f"{BUILD}systems/<str:kind>/new/", systems.new_system, name="new-system"),
    path(f"{BUILD}systems/<str:kind>/<str:system_id>/", systems.edit_system, name="system"),
    path(f"{BUILD}systems/<str:kind>/<str:system_id>/delete/", systems.delete_system, name="delete-system"),
    # Drawings of what is laid and hung in a room
    path(f"{BUILD}layouts/<str:room_id>/", layouts.layouts, name="layouts"),
    path(f"{BUILD}layouts/<str:room_id>/<str:name>.pdf", layouts.pdf, name="layout-pdf"),
    path(f"{BUILD}layouts/<str:room_id>/<str:name>.dxf", layouts.dxf, name="layout-dxf"),
    path(f"{BUILD}layouts/<str:room_id>/<str:name>.svg", layouts.svg, name="layout-svg"),
    # Take-off and cut plans
    path(f"{BUILD}take-off/", take_off.take_off, name="take-off"),
    path(f"{BUILD}take-off/lines.csv", take_off.take_off_csv, name="take-off-csv"),
    path(f"{BUILD}take-off/needs/new/", take_off.need, name="new-need"),
    path(f"{BUILD}take-off/needs/<str:need_id>/", take_off.need, name="need"),
    path(f"{BUILD}take-off/needs/<str:need_id>/delete/", take_off.delete_need, name="delete-need"),
    path(f"{BUILD}take-off/quantities/", take_off.quantities, name="quantities"),
    path(f"{BUILD}cut-plans/<str:product_id>/", take_off.cut_plan, name="cut-plan"),
    path(f"{BUILD}cut-plans/<str:product_id>/plan.pdf", take_off.cut_plan_pdf, name="cut-plan-pdf"),
    path(f"{BUILD}cut-plans/<str:product_id>/list.csv", take_off.cut_plan_csv, name="cut-plan-csv"),
    # Suppliers, quotes, award
    path(f"{BUILD}quotes/", quotes.quotes, name="quotes"),
    path(f"{BUILD}quotes/award.csv", quotes.award_csv, name="award-csv"),
    path(f"{BUILD}quotes/rules/", quotes.rules, name="award-rules"),
    path(f"{BUILD}quotes/rules/need-days/", quotes.need_days, name="need-days"),
    path(f"{BUILD}quotes/new/", quote_entry.quote, name="new-quote"),
    path(f"{BUILD}quotes/<str:quote_id>/", quote_entry.quote, name="quote"),
    path(f"{BUILD}quotes/<str:quote_id>/delete/", quote_entry.delete_quote, name="delete-quote"),
    # Suppliers and asking them
    path(f"{BUILD}suppliers/new/", suppliers.edit, name="new-supplier"),
    path(SUPPLIER, suppliers.supplier, name="supplier"),
    path(f"{SUPPLIER}edit/", suppliers.edit, name="edit-supplier"),
    path(f"{SUPPLIER}delete/", suppliers.delete, name="delete-supplier"),
    path(f"{SUPPLIER}calls/new/", suppliers.note_call, name="note-call"),
    path(f"{SUPPLIER}samples/new/", suppliers.ask_sample, name="ask-sample"),
    path(f"{BUILD}calls/<int:call_id>/done/", suppliers.step_done, name="step-done"),
    path(f"{BUILD}samples/<int:sample_id>/came/", suppliers.sample_came, name="sample-came"),
    path(f"{BUILD}requests/new/", requests.new, name="new-request"),
    path(REQUEST, requests.request_page, name="request"),
    path(f"{REQUEST}<str:supplier_id>/request.pdf", requests.letter, name="request-letter"),
    path(f"{REQUEST}<str:supplier_id>/request.txt", requests.letter_text, name="request-text"),
    path(f"{REQUEST}<str:supplier_id>/answer/", requests.answer, name="request-answer"),
    # Orders
    path(f"{BUILD}orders/", orders.orders, name="orders"),
    path(f"{BUILD}orders/place/", orders.place, name="place-order"),
    path(f"{BUILD}orders/ask/", orders.ask_approval, name="ask-approval"),
    path(ORDER, orders.order, name="order"),
    path(f"{ORDER}confirm/", orders.confirm, name="confirm-order"),
    path(f"{ORDER}receive/", orders.receive, name="receive-order"),
    path(f"{ORDER}deliveries/new/", deliveries.deliver, name="deliver"),
    path(f"{ORDER}deliveries/<int:delivery>/take-back/", deliveries.take_back, name="take-back-delivery"),
    path(f"{ORDER}invoices/new/", ledger.invoice, name="invoice"),
    path(f"{ORDER}payments/new/", ledger.pay_order, name="pay-order"),
    path(f"{ORDER}close/", deliveries.close, name="close-order"),
    path(f"{ORDER}cancel/", orders.cancel, name="cancel-order"),
    path(f"{ORDER}see/", orders.see, name="see-order"),
    path(f"{ORDER}order.pdf", orders.document, name="order-document"),
    path(f"{ORDER}order.txt", orders.document_text, name="order-text"),
    path(f"{ORDER}changes/<int:change>/change.pdf", orders.change_document, name="change-document"),
    path(f"{ORDER}changes/<int:change>/change.txt", orders.change_text, name="change-text"),
    path(f"{ORDER}changes/<int:change>/agree/", orders.decide, {"answer": "agree"}, name="agree-change"),
    path(f"{ORDER}changes/<int:change>/refuse/", orders.decide, {"answer": "refuse"}, name="refuse-change"),
    # Money
    path(f"{BUILD}budget/", budget.budget, name="budget"),
    path(f"{BUILD}budget/heads.csv", budget.budget_csv, name="budget-csv"),
    path(f"{BUILD}budget/cash/", budget.cash, name="cash"),
    path(f"{BUILD}budget/allowances/", budget.allowances, name="allowances"),
    path(f"{BUILD}budget/bills/new/", ledger.bill, name="bill"),
    path(f"{BUILD}budget/payments/new/", ledger.pay, name="pay"),
    path(f"{BUILD}budget/draws/new/", ledger.draw, name="draw"),
    path(f"{BUILD}budget/entries/<int:entry>/reverse/", ledger.reverse_entry, name="reverse-entry"),
    path(f"{BUILD}budget/comment/", budget.comment, name="comment"),
    # What the partner looks at
    path(f"{BUILD}in-short/", in_short.in_short, name="in-short"),
    path(f"{BUILD}in-short/week/", in_short.week, name="week"),
    path(f"{BUILD}in-short/approvals/<int:number>/approve/", in_short.decide, {"answer": "approve"}, name="approve"),
    path(f"{BUILD}in-short/approvals/<int:number>/refuse/", in_short.decide, {"answer": "refuse"}, name="refuse"),
]
