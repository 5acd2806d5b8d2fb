"""Somebody signs up and in, tells where they live, makes mistakes; and what must not be found afterwards."""

import json
import re
import uuid
from dataclasses import dataclass, field

from allauth.mfa.models import Authenticator
from allauth.mfa.recovery_codes.internal.auth import RecoveryCodes
from django.core import mail

from growers.models import Grower
from tests.api.caller import PASSWORD, caller, make_member
from tests.api.test_token import code_now
from tests.api.web_client import Reply, WebClient
from tests.exchange.bargain import agree
from tests.exchange.society import make_pairing
from tests.factories import make_offer, make_plant, make_wanted_cross

EMAIL = "ondine@mill-lane.example.org"
STREET = "12 Mill Lane, by the weir"
TOWN = "Little Puddleton"
LATITUDE_DEG, LONGITUDE_DEG = 48.853917, 2.348263
FIRST_PASSWORD = "the first heron of spring"
WRONG_PASSWORD = "the wrong heron of spring"
FACTOR = "/account/2fa/totp/activate/"
NEW_PASSWORD = "the last heron of autumn"
PERSON = {"e-mail": EMAIL}
PLACE = {
    "street": STREET,
    "town": TOWN,
    "latitude": str(LATITUDE_DEG),
    "longitude": str(LONGITUDE_DEG),
}
SEALED = {"addressee": "Ondine of the Rushes", "line": "7 Sluice Row", "code": "OX-731", "place": "Lower Fen"}
"""What is stored of an address nobody reads without the key of the server."""

ADDRESS = {
    "name": SEALED["addressee"],
    "lines": [SEALED["line"]],
    "postal_code": SEALED["code"],
    "town": SEALED["place"],
}
NOTE = "the heron comes at eight"


@dataclass
class Story:
    """One person's dealings with a server; ``ways_in`` is all that would let another be that person."""

    server: str
    ways_in: dict[str, str] = field(
        default_factory=lambda: {
            "password": FIRST_PASSWORD,
            "wrong password": WRONG_PASSWORD,
            "new password": NEW_PASSWORD,
            "password of another": PASSWORD,
        }
    )

    def __post_init__(self) -> None:
        self.visitor = WebClient(self.server)

    def live(self) -> None:
        """Everything up to the day when something of the server breaks."""
        self.sign_up()
        self.set_second_factor()
        self.make_tokens()
        self.tell_where()
        self.be_sent_pollen()
        self.have_address_told()
        self.subscribe_a_calendar()
        self.mistake()

    def end(self) -> None:
        """Everything after that day."""
        self.lose_password()
        self.leave_half_done()

    def sign_up(self) -> None:
        """An account, its address confirmed, a wrong and a right sign-in."""
        form = {"email": EMAIL, "password1": FIRST_PASSWORD, "handle": "ondine"}
        self._went_on(self.visitor.fill("/account/signup/", **form))
        confirm = self._mailed("/account/confirm-email/")
        self.ways_in["key that confirms"] = confirm.split("/")[3]
        self._went_on(self.visitor.fill(confirm))
        wrong = self.visitor.fill("/account/login/", login=EMAIL, password=WRONG_PASSWORD)
        assert wrong.status == 200
        self._went_on(self.visitor.fill("/account/login/", login=EMAIL, password=FIRST_PASSWORD))
        self._keep_session(self.visitor, "session")

    def set_second_factor(self) -> None:
        """An authenticator program and codes for the day it is lost."""
        page = self._factor_page(self.visitor, FIRST_PASSWORD)
        secret = self.ways_in["second factor"] = _factor_shown(page)
        self._went_on(self.visitor.submit(page, FACTOR, code=code_now(secret)))
        factor = Authenticator.objects.get(user__email=EMAIL, type=Authenticator.Type.RECOVERY_CODES)
        used, unused, another, *_ = RecoveryCodes(factor).generate_codes()
        self.ways_in |= {"recovery code": used, "recovery code not used": unused}
        self.ways_in["recovery code for the address"] = another

    def make_tokens(self) -> None:
        """By e-mail, password and code; sent again; refused."""
        stated = {"email": EMAIL, "password": FIRST_PASSWORD, "name": "pond", "scopes": ["read", "write"]}
        body, key = {**stated, "code": self.ways_in["recovery code"]}, str(uuid.uuid4())
        made = WebClient(self.server).send("POST", "tokens", body, idempotency_key=key)
        assert made.status == 201, made.body
        self.token = self.ways_in["token"] = made.data["secret"]
        self.ways_in["end of the token"] = self.token[len(made.data["beginning"]) :]
        self._api("POST", "tokens", {**body, "password": WRONG_PASSWORD}, expected=401)
        self._api("GET", "me", authorization=f"Bearer {self.token[:-1]}", expected=401)

    def tell_where(self) -> None:
        """A site with its exact place, told twice under one key."""
        place = {"latitude_deg": LATITUDE_DEG, "longitude_deg": LONGITUDE_DEG, "keep_exact": True}
        self.site = {"name": STREET, "nearest_town": TOWN, "country": "FR", **place}
        key = str(uuid.uuid4())
        made = self._api("POST", "sites", self.site, idempotency_key=key, expected=201)
        again = self._api("POST", "sites", self.site, idempotency_key=key, expected=201)
        assert again.headers["Idempotency-Replayed"] == "true" and again.body == made.body
        self._api("POST", "sites", {**self.site, "country": "DE"}, idempotency_key=key, expected=422)
        self._api("GET", f"sites/{made.data['id']}", expected=200)

    def be_sent_pollen(self) -> None:
        """An address, refused and stated, and read by whoever sends; a note."""
        donor = make_member("donor")
        given = make_offer(make_plant(donor))
        wanted = make_wanted_cross(make_plant(Grower.objects.get(email=EMAIL)))
        agreement = f"agreements/{agree(make_pairing(given, wanted), doses=1).public_id}"
        self.ways_in["token of the donor"] = token = caller(donor).token
        code = self.ways_in["recovery code for the address"]
        stated = {**ADDRESS, "country": "FR", "password": FIRST_PASSWORD, "code": code}
        for refused, status in (({"password": WRONG_PASSWORD}, 403), ({"street": STREET}, 400)):
            self._api("PATCH", "me/address", {**stated, **refused}, if_match="*", expected=status)
        self._api("PATCH", "me/address", stated, if_match="*", expected=200)
        read = self._api("POST", f"{agreement}/address", expected=200, authorization=f"Bearer {token}")
        assert read.data["lines"] == ADDRESS["lines"]
        self._api("POST", f"{agreement}/notes", {"text": NOTE}, expected=201)
        assert len(self._api("GET", "address-views", expected=200).data["results"]) == 1

    def have_address_told(self) -> None:
        """A webhook, and a new secret for it."""
        made = self._api("POST", "webhooks", {"url": "https://hooks.example/pollen"}, expected=201)
        again = self._api("POST", f"webhooks/{made.data['id']}/rotate", expected=200)
        for name, answer in {"first secret of the webhook": made, "secret of the webhook": again}.items():
            self.ways_in[name] = answer.data["secret"].removeprefix("whsec_")

    def subscribe_a_calendar(self) -> None:
        """Its address, asked for by a program, by one that may not, and with its end cut off."""
        made = self._api("POST", "calendar-feeds", {"name": "telephone"}, expected=201)
        feed = "/" + made.data["address"].partition("//")[2].partition("/")[2]
        self.ways_in["secret of the calendar feed"] = feed.split("/")[2].removesuffix(".ics")
        for method, address, status in (("GET", feed, 200), ("POST", feed, 405), ("GET", feed[:-4], 404)):
            assert WebClient(self.server).call(method, address).status == status

    def mistake(self) -> None:
        """Secrets where they do not belong."""
        self._api("POST", "sites", {**self.site, self.token: STREET, "water": self.token}, expected=400)
        self._api("POST", "sites", self.site, expected=422)
        self._api("PATCH", "me", {"zone": FIRST_PASSWORD, "name": STREET}, if_match="*", expected=422)
        self._api("PATCH", "me/address", {**ADDRESS, self.token: NOTE}, if_match="*", expected=400)
        self._api("GET", f"sites?token={self.token}&where={LATITUDE_DEG}", expected=400)
        for path in (f"/api/v1/{self.token}", f"/account/{self.token}", f"/{TOWN.replace(' ', '%20')}"):
            assert self.visitor.call("GET", path, authorization=f"Bearer {self.token}").status == 404
        broken = json.dumps({**self.site, "email": EMAIL, "password": FIRST_PASSWORD}).encode()[:-1]
        kind = {"content_type": "application/json", "authorization": f"Bearer {self.token}"}
        answer = self.visitor.call("POST", "/api/v1/sites", broken, idempotency_key=str(uuid.uuid4()), **kind)
        assert answer.status == 400

    def meet_a_failure(self) -> None:
        """Ask for what has been broken, with all that is secret at hand."""
        self._api("POST", "sites", self.site, expected=500)

    def lose_password(self) -> None:
        """A reset, first by a form without its token; the new password ends the token."""
        self._went_on(self.visitor.fill("/account/password/reset/", email=EMAIL))
        reset = self._mailed("/account/password/reset/key/")
        self.ways_in["key that resets"] = reset.split("/")[5].partition("-")[2]
        assert WebClient(self.server).call("POST", reset, b"password1=x").status == 403
        opened = self.visitor.call("GET", reset)
        form = opened.headers["Location"]
        self._went_on(self.visitor.fill(form, password1=NEW_PASSWORD, password2=NEW_PASSWORD))
        self._api("GET", "me", expected=401)

    def leave_half_done(self) -> None:
        """Another one signs in, begins a second factor, asks for a reset, and ends none of it."""
        make_member("undecided")
        other = WebClient(self.server)
        self._went_on(other.fill("/account/login/", login="undecided@example.org", password=PASSWORD))
        self._keep_session(other, "session of another")
        self.ways_in["second factor begun"] = _factor_shown(self._factor_page(other, PASSWORD))
        visitor = WebClient(self.server)
        self._went_on(visitor.fill("/account/password/reset/", email="undecided@example.org"))
        reset = self._mailed("/account/password/reset/key/")
        self.ways_in["key that resets not used"] = reset.split("/")[5].partition("-")[2]
        self._went_on(visitor.call("GET", reset))

    def _api(self, method: str, path: str, body: object = None, *, expected: int, **headers: str) -> Reply:
        usual = {"authorization": f"Bearer {self.token}", "idempotency_key": str(uuid.uuid4())}
        answer = WebClient(self.server).send(method, path, body, **{**usual, **headers})
        assert answer.status == expected, (path, answer.body)
        return answer

    def _factor_page(self, client: WebClient, password: str) -> Reply:
        self._went_on(client.fill(f"/account/reauthenticate/?next={FACTOR}", password=password))
        return client.call("GET", FACTOR)

    def _keep_session(self, client: WebClient, name: str) -> None:
        (self.ways_in[name],) = (str(cookie.value) for cookie in client.cookies if cookie.name == "sessionid")

    def _mailed(self, beginning: str) -> str:
        """The address in the last mail that begins so."""
        found = re.search(rf"http://[^/\s]+({beginning}\S+)", str(mail.outbox[-1].body))
        assert found is not None
        return found[1]

    @staticmethod
    def _went_on(reply: Reply) -> None:
        assert reply.status == 302, (reply.status, reply.body)


def _factor_shown(page: Reply) -> str:
    found = re.search(r"\b[A-Z2-7]{32}\b", page.body)
    assert found is not None, page.body
    return found[0]
