"""A worker that does what files from outside have made libraries do."""

import os
import socket
import subprocess
import sys
import time

from coldtake.errors import PassageError


def do(job, body, tell):
    return globals()[job["how"]](job, body, tell)


def echoes(job, body, tell):
    return {"said": job["say"]}, body[::-1]


def speaks(job, body, tell):
    sys.stdout.write("on stdout, where answers go")
    os.write(2, b"on stderr\n")
    return "done", b""


def refuses(job, body, tell):
    raise PassageError("half a bar is missing.", where="bar 3", remedy="Write it.")


def breaks(job, body, tell):
    raise KeyError("nobody thought of that")


def sleeps(job, body, tell):
    time.sleep(60)
    return "", b""


def toils(job, body, tell):
    while True:
        sum(range(100_000))


def eats(job, body, tell):
    return len(bytearray(3_000_000_000)), b""


def dies(job, body, tell):
    os.abort()


def fills_the_disk(job, body, tell):
    with open(job["path"], "wb") as file:
        file.write(bytes(50_000_000))
    return "", b""


def opens_a_socket(job, body, tell):
    return socket.socket().fileno(), b""


def starts_a_program(job, body, tell):
    return subprocess.run(["true"], check=True).returncode, b""


def goes_on(job, body, tell):
    for n in range(10):
        tell(n / 10)
    return "whole", b""
