from django.http import HttpResponse


def pattern(request):
    return HttpResponse("to be written")
