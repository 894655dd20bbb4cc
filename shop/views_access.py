from django.http import HttpResponse


def enter(request):
    return HttpResponse("to be written")


def leave(request):
    return HttpResponse("to be written")


def change_person(request):
    return HttpResponse("to be written")


def locked(request):
    return HttpResponse("to be written")
