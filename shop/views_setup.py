from django.http import HttpResponse


def first_start(request):
    return HttpResponse("to be written")


def shop_settings(request):
    return HttpResponse("to be written")
