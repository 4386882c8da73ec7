from django.apps import AppConfig


class PhotosConfig(AppConfig):
    name = "flockcare.photos"

    def ready(self):
        from flockcare.birds import layers
        from flockcare.core.management.commands.up import hourly, prepared, tidying
        from flockcare.photos.checking import check_daily, check_files
        from flockcare.photos.editing import purge
        from flockcare.photos.layers import photos

        layers.register(photos)
        tidying.connect(lambda **_: purge(), weak=False, dispatch_uid="photos deleted long ago")
        prepared.connect(lambda **_: check_files(), weak=False, dispatch_uid="files of photos")
        hourly.connect(lambda **_: check_daily(), weak=False, dispatch_uid="files of photos")
