"""Every address of the shop. The floors above are named as strings: this floor imports nothing of theirs."""

from django.urls import include, path

from shop import views_access, views_front, views_pattern, views_setup, views_staff

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
    path("my-password/", views_access.my_password, name="my-password"),
    # what the owner decides
    path("first-start/", views_setup.first_start, name="first-start"),
    path("shop/", views_setup.shop_settings, name="shop-settings"),
    path("shop/taxes/", views_setup.taxes, name="taxes"),
    path("shop/taxes/<int:pk>/end/", views_setup.tax_end, name="tax-end"),
    path("shop/terms/", views_setup.terms, name="terms"),
    path("shop/terms/<int:version>/", views_setup.terms_version, name="terms-version"),
    path("shop/staff/", views_staff.staff, name="staff"),
    path("shop/staff/new/", views_staff.staff_new, name="staff-new"),
    path("shop/staff/<int:pk>/", views_staff.staff_edit, name="staff-edit"),
    path("shop/staff/<int:pk>/password/", views_staff.staff_password, name="staff-password"),
    path("shop/staff/<int:pk>/pin/", views_staff.staff_pin, name="staff-pin"),
    path("shop/staff/<int:pk>/unlock/", views_staff.staff_unlock, name="staff-unlock"),
    # the floors above
    path("", include("intake.urls")),
    path("", include("calc.urls")),
    path("", include("inventory.urls")),
]

handler400 = "shop.refusals.bad_request"
handler403 = "shop.refusals.forbidden"
handler404 = "shop.refusals.not_found"
handler500 = "shop.refusals.broken"
