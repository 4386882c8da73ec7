#!/usr/bin/env python
import os
import sys


def main():
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "flockcare.settings")
    # The database has the hashes of passwords: what we write is for nobody else on this computer.
    os.umask(0o077)
    from django.core.exceptions import ImproperlyConfigured
    from django.core.management import execute_from_command_line

    try:
        execute_from_command_line(sys.argv)
    except ImproperlyConfigured as error:
        sys.exit(str(error))


if __name__ == "__main__":
    main()
