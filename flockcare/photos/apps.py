from django.apps import AppConfig


class PhotosConfig(AppConfig):
    name = "flockcare.photos"

    def ready(self):
        from flockcare.birds import layers
        from flockcare.photos.layers import photos

        layers.register(photos)
