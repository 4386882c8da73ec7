from django.apps import AppConfig


class PhotosConfig(AppConfig):
    name = "flockcare.photos"

    def ready(self):
        from flockcare.core.management.commands.up import tidying
        from flockcare.photos.editing import purge

        tidying.connect(lambda **_: purge(), weak=False, dispatch_uid="photos deleted long ago")
