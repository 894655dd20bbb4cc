from django.http import HttpResponse


def home(request):
    return HttpResponse("to be written")


def find(request):
    return HttpResponse("to be written")


def reports(request):
    return HttpResponse("to be written")


def theme(request):
    return HttpResponse("to be written")
