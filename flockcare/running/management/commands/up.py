"""``manage.py up``: prepare everything and serve."""

import logging
import os
import socket
import sys
import threading
import time

import segno
from django.conf import settings
from django.core.cache import cache
from django.core.management import BaseCommand, CommandError, call_command
from django.core.wsgi import get_wsgi_application

from flockcare.backup.archive import BackupProblem
from flockcare.backup.keeping import keep_before_upgrade, make_daily_beside
from flockcare.core import clock, starting
from flockcare.exchange.importing import go_on_with_left
from flockcare.exchange.pictures import clear_left
from flockcare.photos.checking import check_daily, check_files
from flockcare.photos.editing import purge
from flockcare.reminders.sending import send_reminders
from flockcare.running import front
from flockcare.running.authority import Authority
from flockcare.running.connections import limits

logger = logging.getLogger(__name__)

PORT = 8000
# HTTPS on 8443 beside 8000, as 443 stands beside 80 and 8443 beside 8080 in common use.
HTTPS_ABOVE = 443
THREADS = 8
# In a thread of its own while serving: soon after the start, then every hour.
HOURLY = [
    clock.look,
    send_reminders,
    make_daily_beside,
    go_on_with_left,
    clear_left,
    check_daily,
]
FIRST_HOURLY_SECONDS = 60

PLAIN_HTTP = (
    "Over plain HTTP a phone cannot use Flockcare without signal, and others in this network "
    "could read along."
)


# What the front says of the phone is believed; what a phone says of itself is not.
BEHIND_FRONT = {
    "trusted_proxy": "127.0.0.1",
    "trusted_proxy_headers": {"x-forwarded-for", "x-forwarded-proto"},
}


def _unusable(port: int, error: OSError, option: str) -> CommandError:
    return CommandError(
        f"Port {port} cannot be used ({error.strerror}). "
        f"Is Flockcare running already? Choose another with {option}."
    )


def address_in_network() -> str | None:
    """This machine's own address in the home network; no packet is sent to find it."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # TEST-NET-1 (RFC 5737): only picks the interface
        except OSError:
            return None
        return probe.getsockname()[0]


def _every_hour():
    wait = FIRST_HOURLY_SECONDS
    while True:
        time.sleep(wait)
        wait = 3600
        do_hourly()


def do_hourly():
    for task in HOURLY:
        try:
            task()
        except Exception:  # The others are to be done all the same, and again in an hour.
            logger.exception("%s failed", task.__name__)


def _keep_before_upgrade():
    try:
        keep_before_upgrade()
    except BackupProblem as problem:
        raise CommandError(
            f"{problem} Nothing was upgraded. Fix that and start again; or go on with "
            "--without-backup, if you have a backup elsewhere."
        ) from problem


class Command(BaseCommand):
    help = "Prepare the database and the static files, then serve Flockcare."

    def add_arguments(self, parser):
        parser.add_argument(
            "--demo", action="store_true", help="the demo flock, in a folder of its own"
        )
        parser.add_argument("--lan", action="store_true", help="let phones in this network connect")
        parser.add_argument(
            "--port", type=int, default=PORT, help=f"where to serve: {PORT} if not given"
        )
        parser.add_argument(
            "--https-port", type=int, help=f"with --lan; --port plus {HTTPS_ABOVE} if not given"
        )
        parser.add_argument(
            "--prepare-only", action="store_true", help="prepare everything, do not serve"
        )
        parser.add_argument(
            "--without-backup",
            action="store_true",
            help="make no backup before a new version changes the database",
        )

    def handle(self, *, demo, lan, port, https_port, prepare_only, without_backup, **options):
        if demo and not settings.DEMO:
            # The demo has a database of its own, which the settings choose at the start.
            os.environ["FLOCKCARE_DEMO"] = "1"
            os.execv(sys.executable, [sys.executable, *sys.argv])  # noqa: S606
        with starting.in_words():
            self.prepare(demo=demo, without_backup=without_backup)
        if not prepare_only:
            self.serve(lan=lan, port=port, https_port=https_port or port + HTTPS_ABOVE)

    def prepare(self, *, demo: bool, without_backup: bool):
        starting.check_folder()
        starting.check_database()
        if starting.migrations_wait() and not without_backup:
            _keep_before_upgrade()
        call_command("migrate", verbosity=0, interactive=False)
        cache.clear()  # What another version of the code kept may not be readable any more.
        call_command("collectstatic", verbosity=0, interactive=False)
        if demo:
            self.stdout.write("Making the demo flock; the first time this takes half a minute …")
            self.stdout.flush()
            call_command("load_demo")
        clear_left()
        check_files()
        if clock.is_proven(self.stderr.write):
            call_command("clearsessions", verbosity=0)
            purge()

    def serve(self, *, lan: bool, port: int, https_port: int):
        from waitress.server import create_server

        address = None
        if lan:
            address = address_in_network()
            if address is None:
                raise CommandError("This computer is not on a network. Run without --lan.")
            settings.ALLOWED_HOSTS.append(address)
        authority = self.authority(address) if lan else None
        try:
            server = create_server(
                get_wsgi_application(),
                host="0.0.0.0" if lan else "127.0.0.1",  # noqa: S104
                port=port,
                threads=THREADS,
                **limits(),
                # A form with a dozen phone photos, each with its own limit.
                max_request_body_size=400 * 2**20,
                **(BEHIND_FRONT if authority else {}),
                # It would take away what the settings are told to believe of a proxy.
                clear_untrusted_proxy_headers=not settings.BEHIND_PROXY,
            )
        except OSError as error:
            raise _unusable(port, error, "--port") from None
        self.stdout.write(f"Flockcare is ready. Open http://127.0.0.1:{port}/ on this computer.")
        if authority:
            self.serve_https(authority, address, port, https_port)
            self.in_network(f"http://{address}:{port}/phone/")
            self.stdout.write(
                f"That page sets the phone up, once. Then it works at {settings.LAN_HTTPS}/, also "
                "without signal. The certificate’s SHA-256 is\n"
                f"{authority.fingerprint}"
            )
        elif lan:
            self.in_network(f"http://{address}:{port}/")
            self.stdout.write(PLAIN_HTTP)
        threading.Thread(target=_every_hour, daemon=True, name="hourly").start()
        self.stdout.write("Stop with Ctrl+C.")
        self.stdout.flush()
        try:
            server.run()
        except KeyboardInterrupt:
            server.close()

    def in_network(self, link: str):
        self.stdout.write(f"On a phone in this network open {link} or scan:\n")
        segno.make(link).terminal(out=self.stdout, compact=True)

    def authority(self, address: str) -> Authority | None:
        """With which HTTPS is served; None where a proxy does, or phones would not believe it."""
        if settings.HTTPS or settings.BEHIND_PROXY:
            return None
        authority = Authority(settings.DATA_DIR / "https")
        authority.prepare(address)
        return authority if authority.vouches_for(address) else None

    def serve_https(self, authority: Authority, address: str, port: int, https_port: int):
        authority.renew(address)
        context = authority.context()

        def renew():
            if authority.renew(address):
                context.load_cert_chain(authority.server_file)

        try:
            listening = front.open_port("0.0.0.0", https_port)  # noqa: S104
        except OSError as error:
            raise _unusable(https_port, error, "--https-port") from None
        front.serve(listening, context, inner=f"http://127.0.0.1:{port}")
        settings.LAN_HTTPS = f"https://{address}:{https_port}"
        HOURLY.append(renew)
