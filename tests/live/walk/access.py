"""Getting in: sign-in, sessions, passwords, invitations, members, tokens, the company, clients."""

import re
from base64 import b32decode
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from email.message import EmailMessage
from typing import Any

from django_otp.oath import TOTP

from tests.live.parts import Parts, Person
from tests.live.workers import wait_until

PASSWORD = "quartz-lantern-meadow-barrel-19"
NEXT_PASSWORD = "cobble-thicket-harbour-violet-73"


def link_to(parts: Parts, email: str, subject: str) -> str:
    """Send what waits, as cron does where no clock runs, and give what the link of a letter ends in."""
    parts.manage("send_messages")

    def letters() -> list[EmailMessage]:
        # The clock of this run may have sent it, too.
        return [one for one in parts.letters if one["To"] == email and str(one["Subject"]).startswith(subject)]

    wait_until(lambda: bool(letters()), f"a letter to {email}: {subject}")
    (link,) = re.findall(rf"{parts.address}/[\w-]+/(\S+)/\s", letters()[-1].get_content() + "\n")
    return str(link)


def _with_codes(stranger: Person, nell: Person, owner: Person, member: Mapping[str, Any]) -> None:
    """Sign in with codes, renew them, give one in place of the password, lose them all, and do without them again."""

    def set_up() -> str:
        key = b32decode(nell.post("/me/second-factor/")["key"])
        code = f"{TOTP(key).token():06}"
        return str(nell.post("/me/second-factor/confirm/", {"code": code})["recovery_codes"][0])

    recovery = set_up()
    sent = {"email": "nell@new.example", "password": PASSWORD}
    stranger.post("/login/", sent, status=401)
    stranger.post("/login/", {**sent, "code": recovery})
    renewed = nell.post("/me/second-factor/recovery-codes/")["recovery_codes"]
    assert nell.post("/me/authentication/", {"code": renewed[0]})["second_factor"]["recovery_codes_left"] == 9
    assert owner.post(f"/members/{member['id']}/reset-second-factor/")["has_second_factor"] is False
    set_up()
    nell.delete("/me/second-factor/")
    stranger.post("/login/", sent)


def walk(parts: Parts, owner: Person, logins: Mapping[str, Any]) -> None:
    """Let everybody in, change what may be changed, and let them out again."""
    email = "owner@ostrelle-water.example"
    password = logins["passwords"][email]
    stranger = Person(parts, owner.written)
    stranger.post("/login/", {"email": email, "password": "wrong"}, status=401)
    stranger.get("/clients/", status=401)
    secret = stranger.post("/login/", {"email": email, "password": password, "name": "desk"})["token"]
    desk = Person(parts, owner.written, token=secret)
    assert desk.get("/me/")["membership"]["role"] == "owner"
    desk.post("/logout/")
    desk.get("/me/", status=401)

    browser = Person(parts, owner.written)
    browser.post("/session/", {"email": email, "password": password})
    assert browser.get("/me/")["membership"]["role"] == "owner"

    owner.post("/invitations/", {"email": "nil@north.example", "role": "installer"}, status=403)
    owner.post("/me/authentication/", {"current_password": password})
    owner.patch("/company/", {"name": "Ostrelle Water Care (invented)"})
    customer = owner.post("/clients/", {"name": "Walk-in client", "email": "walk@client.example"})
    assert owner.patch(f"/clients/{customer['id']}/", {"phone": "555 0100"})["phone"] == "555 0100"
    withdrawn = owner.post("/invitations/", {"email": "nil@north.example", "role": "installer"})
    owner.post(f"/invitations/{withdrawn['id']}/withdraw/")
    owner.post("/invitations/", {"email": "nell@north.example", "name": "Nell", "role": "office"})
    link = link_to(parts, "nell@north.example", "Invitation from")
    opened = stranger.http.get(f"{parts.address}/invitation/{link}/", timeout=60)
    assert "Choose a password" in opened.text, opened.text
    assert stranger.get(f"/invitation-links/{link}/")["has_account"] is False
    stranger.post(f"/invitation-links/{link}/", {"password": PASSWORD})
    stranger.post(f"/invitation-links/{link}/", {"password": PASSWORD}, status=404)
    member = next(row for row in owner.rows("/members/") if row["email"] == "nell@north.example")
    newcomer = Person(parts, owner.written)
    newcomer.post("/session/", {"email": "nell@north.example", "password": PASSWORD})
    token = stranger.post("/login/", {"email": "nell@north.example", "password": PASSWORD})["token"]
    nell = Person(parts, owner.written, token=token)
    nell.post("/me/password/", {"current_password": PASSWORD, "new_password": NEXT_PASSWORD})
    stranger.post("/login/", {"email": "nell@north.example", "password": PASSWORD}, status=401)
    token = stranger.post("/login/", {"email": "nell@north.example", "password": NEXT_PASSWORD})["token"]
    nell = Person(parts, owner.written, token=token)
    assert nell.send("PATCH", "/me/", {"gets_digest": False})["membership"]["gets_digest"] is False
    nell.post("/me/email/", {"email": "nell@new.example", "current_password": NEXT_PASSWORD})
    stranger.post(f"/new-addresses/{link_to(parts, 'nell@new.example', 'Confirm')}/")
    stranger.post("/password-resets/", {"email": "nell@new.example"})
    link = link_to(parts, "nell@new.example", "Choose a new password")
    stranger.post(f"/password-resets/{link}/", {"password": PASSWORD})
    nell.get("/me/", status=401)
    for way in ("desk", "phone"):
        newcomer.http.headers["User-Agent"] = way
        newcomer.http.cookies.clear()
        newcomer.post("/session/", {"email": "nell@new.example", "password": PASSWORD})
    newcomer.http.headers["X-CSRFToken"] = newcomer.http.cookies["csrftoken"]
    other = next(row for row in newcomer.rows("/browser-sessions/") if not row["is_this"])
    newcomer.delete(f"/browser-sessions/{other['id']}/")
    newcomer.post("/me/end-all/")
    newcomer.get("/me/", status=401)
    token = stranger.post("/login/", {"email": "nell@new.example", "password": PASSWORD})["token"]
    nell = Person(parts, owner.written, token=token)
    _with_codes(stranger, nell, owner, member)
    expires_at = (datetime.now(UTC) + timedelta(days=2)).isoformat()
    program = nell.post("/tokens/", {"name": "export", "expires_at": expires_at, "scopes": ["read"]})
    export = Person(parts, owner.written, token=program["token"])
    assert export.get("/clients/")["count"] > 0
    export.post("/clients/", {"name": "Never stored"}, status=403)
    nell.delete(f"/tokens/{program['id']}/")
    owner.patch(f"/members/{member['id']}/", {"name": "Nell Harrowgate"})
    owner.post(f"/members/{member['id']}/end/")
    nell.get("/clients/", status=401)
    leaver = owner.post("/clients/", {"name": "Walk-out client", "phone": "555 0101"})
    assert owner.post(f"/client-data/{leaver['id']}/erase/", {"name": "Walk-out client"})["client"] == leaver["id"]
    owner.retire_and_take_back(f"/clients/{customer['id']}/")
    owner.delete(f"/clients/{customer['id']}/")
    assert any(entry["action"] for entry in owner.rows("/audit-entries/"))
