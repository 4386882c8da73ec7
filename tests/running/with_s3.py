"""Run a command with an S3-speaking server beside it: moto's, in memory, on loopback.

    python tests/running/with_s3.py COMMAND …

The command finds the storage in its environment, as an installation does.
"""

import logging
import os
import subprocess
import sys
import urllib.request

import boto3
from moto.server import ThreadedMotoServer

BUCKET = "photos-of-the-tests"
logging.getLogger("werkzeug").setLevel(logging.ERROR)


def started() -> tuple[ThreadedMotoServer, dict[str, str]]:
    """The server with an empty bucket, and the environment that names it."""
    server = ThreadedMotoServer(ip_address="127.0.0.1", port=0, verbose=False)
    server.start()
    host, port = server.get_host_and_port()
    environment = {
        "FLOCKCARE_S3_BUCKET": BUCKET,
        "FLOCKCARE_S3_ENDPOINT": f"http://{host}:{port}",
        "FLOCKCARE_S3_REGION": "us-east-1",
        "FLOCKCARE_S3_ACCESS_KEY": "of the tests",
        "FLOCKCARE_S3_SECRET_KEY": "only of the tests",
    }
    # All servers of a process hold the same things.
    reset = urllib.request.Request(f"http://{host}:{port}/moto-api/reset", method="POST")
    urllib.request.urlopen(reset).close()  # noqa: S310
    client(environment).create_bucket(Bucket=BUCKET)
    return server, environment


def client(environment: dict[str, str]):
    return boto3.client(
        "s3",
        endpoint_url=environment["FLOCKCARE_S3_ENDPOINT"],
        region_name=environment["FLOCKCARE_S3_REGION"],
        aws_access_key_id=environment["FLOCKCARE_S3_ACCESS_KEY"],
        aws_secret_access_key=environment["FLOCKCARE_S3_SECRET_KEY"],
    )


if __name__ == "__main__":
    server, environment = started()
    code = subprocess.run(sys.argv[1:], env={**os.environ, **environment}).returncode
    server.stop()
    sys.exit(code)
