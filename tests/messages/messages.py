"""Servers of others for `halfdegree message-trial`: what they get, and whether it is what was to be sent."""

import base64
import email
import email.policy
import hashlib
import hmac
import http.server
import json
import os
import socket
import ssl
import subprocess
import threading
import time

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import AuthResult, LoginPassword

SECRET = base64.b64encode(b"tern street works, kettle hall").decode()
PLANT = """
[plant]
name = "Tern Street works"
time_zone = "Europe/Lisbon"
[[couverture]]
id = "dark-64"
family = "dark"
[[machine]]
id = "alder"
style = "kettle"
couverture = "dark-64"
[mail]
server = "{server}"
from = "kettles@tern.example"
user = "kettles"
password_env = "TERN_MAIL"
[[contact]]
id = "shift"
mail = "shift@tern.example"
[[contact]]
id = "lead"
webhook = "http://127.0.0.1:{hook}/alarms"
secret_env = "TERN_HOOK"
[[reach]]
first = ["shift", "lead"]
"""


class Letters:
    def __init__(self):
        self.got = []

    async def handle_DATA(self, server, session, envelope):
        assert session.authenticated, "the login was passed over"
        self.got.append((envelope.mail_from, envelope.rcpt_tos, envelope.content))
        return "250 taken"


def is_kettles(server, session, envelope, mechanism, data):
    right = isinstance(data, LoginPassword) and (data.login, data.password) == (b"kettles", b"brass spoon")
    return AuthResult(success=right, handled=False)


class Hook(http.server.BaseHTTPRequestHandler):
    got = []

    def do_POST(self):
        body = self.rfile.read(int(self.headers["content-length"]))
        signed = b".".join([self.headers["webhook-id"].encode(), self.headers["webhook-timestamp"].encode(), body])
        wanted = base64.b64encode(hmac.new(base64.b64decode(SECRET), signed, hashlib.sha256).digest()).decode()
        assert self.headers["webhook-signature"] == f"v1,{wanted}", "the signature is another"
        assert abs(time.time() - int(self.headers["webhook-timestamp"])) < 300, "it was signed long ago"
        Hook.got.append(json.loads(body))
        self.send_response(204)
        self.end_headers()

    def log_message(self, *_):
        pass


def greeted(port):
    client = ssl.create_default_context(cafile="cert.pem")
    with socket.create_connection(("127.0.0.1", port)) as tcp, client.wrap_socket(tcp, server_hostname="localhost") as tls:
        tls.recv(1024)


def trial(scheme, password, hook):
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain("cert.pem", "key.pem")
    more = {
        "smtp": {"auth_require_tls": False},
        "smtps": {"ssl_context": context, "auth_require_tls": False},
        "smtp+starttls": {"tls_context": context, "require_starttls": True},
    }[scheme]
    letters = Letters()
    with_port = Controller(letters, hostname="localhost", port=0, authenticator=is_kettles, auth_required=True, **more)
    # Port 0 cannot be asked for by name: take one that is free.
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        with_port.port = free.getsockname()[1]
    with_port.hostname = "127.0.0.1"
    if scheme == "smtps":
        # aiosmtpd looks whether it is up by a connection of its own, which has to know the certificate.
        with_port._trigger_server = lambda: greeted(with_port.port)
    with_port.start()
    try:
        with open("plant.toml", "w") as file:
            file.write(PLANT.format(server=f"{scheme}://localhost:{with_port.port}", hook=hook))
        environment = os.environ | {"TERN_MAIL": password, "TERN_HOOK": f"whsec_{SECRET}"}
        run = subprocess.run(
            [os.environ["PROGRAM"], "message-trial", "--plant", "plant.toml"],
            env=environment, capture_output=True, text=True, timeout=60,
        )
    finally:
        with_port.stop()
    print(f"{scheme}, password {password!r}: exit {run.returncode}\n{run.stdout}{run.stderr}", end="")
    return run.returncode, letters.got, run.stdout


def main():
    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Hook)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    hook = server.server_address[1]
    for scheme in ["smtp", "smtps", "smtp+starttls"]:
        code, letters, _ = trial(scheme, "brass spoon", hook)
        assert code == 0 and len(letters) == 1, f"{scheme} did not arrive"
        sender, receivers, content = letters[0]
        assert (sender, receivers) == ("kettles@tern.example", ["shift@tern.example"])
        letter = email.message_from_bytes(content, policy=email.policy.default)
        assert not letter.defects and letter["subject"] == "Trial: Tern Street works", letter["subject"]
        assert "nothing is wrong" in letter.get_content()
    code, letters, said = trial("smtps", "wrong", hook)
    assert code == 1 and letters == [] and "refuses" in said, "a wrong password was not told"
    assert len(Hook.got) == 4 and Hook.got[0]["type"] == "alarm.trial"
    print("All arrived, and what was wrong was told.")


main()
