from django.urls import path

from buildout.people.web import views

app_name = "people"
urlpatterns = [
    path("sign-in/", views.sign_in, name="sign-in"),
    path("sign-in/<str:token>/", views.sign_in_by_link, name="sign-in-link"),
    path("sign-out/", views.sign_out, name="sign-out"),
    path("first-account/", views.first_account, name="first-account"),
]
