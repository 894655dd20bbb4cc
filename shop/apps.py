"""The ground floor as Django knows it."""

from django.apps import AppConfig


class ShopConfig(AppConfig):
    name = "shop"
