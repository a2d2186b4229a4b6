from django.urls import URLPattern

app_name = "estimating"
urlpatterns: list[URLPattern] = []
