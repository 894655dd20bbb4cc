"""Every address of the shop. The floors above are named as strings: this floor imports nothing of theirs."""

from django.urls import include, path

from shop import views_access, views_front, views_setup, views_pattern

urlpatterns = [
    # the front page and what every page has
    path("", views_front.home, name="home"),
    path("find/", views_front.find, name="find"),
    path("reports/", views_front.reports, name="reports"),
    path("theme/", views_front.theme, name="theme"),
    path("pattern/", views_pattern.pattern, name="pattern"),
    # who is here
    path("enter/", views_access.enter, name="enter"),
    path("enter/again/", views_access.enter_again, name="enter-again"),
    path("leave/", views_access.leave, name="leave"),
    path("change-person/", views_access.change_person, name="change-person"),
    path("locked/", views_access.locked, name="locked"),
    path("my-pin/", views_access.my_pin, name="my-pin"),
    # what the owner decides
    path("first-start/", views_setup.first_start, name="first-start"),
    path("shop/", views_setup.shop_settings, name="shop-settings"),
    # the floors above
    path("", include("intake.urls")),
    path("", include("calc.urls")),
]

handler400 = "shop.refusals.bad_request"
handler403 = "shop.refusals.forbidden"
handler404 = "shop.refusals.not_found"
handler500 = "shop.refusals.broken"
