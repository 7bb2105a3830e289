"""A small browser of forms: cookies kept, hidden fields sent along, redirects followed only when asked."""

import html.parser
import http.client
import http.cookies
import urllib.parse


class Page(html.parser.HTMLParser):
    """An answer: status, headers, text, and its forms as {action: {name: value}}."""

    def __init__(self, status, headers, text):
        super().__init__(convert_charrefs=True)
        self.status, self.headers, self.text = status, headers, text
        self.forms, self._form, self._area = [], None, None
        if "html" in (headers.get("Content-Type") or ""):
            self.feed(text)

    def handle_starttag(self, tag, attrs):
        a = dict(attrs)
        if tag == "form":
            self._form = (a["action"], {})
            self.forms.append(self._form)
        elif self._form is None:
            return
        elif tag == "input" and a.get("type") not in ("submit", "checkbox") and "name" in a:
            self._form[1][a["name"]] = a.get("value", "")
        elif tag == "textarea":
            self._area = a["name"]
            self._form[1][self._area] = ""
        elif tag == "option" and "selected" in a:
            self._form[1].setdefault("_chosen", a["value"])

    def handle_data(self, data):
        if self._area is not None:
            self._form[1][self._area] += data

    def handle_endtag(self, tag):
        if tag == "form":
            self._form = None
        elif tag == "textarea" and self._area is not None:
            self._form[1][self._area] = self._form[1][self._area].removeprefix("\n")
            self._area = None

    def form(self, action, **having):
        """The fields of the form that leads there and holds these."""
        for where, fields in self.forms:
            if where == action and all(fields.get(k) == v for k, v in having.items()):
                return {k: v for k, v in fields.items() if k != "_chosen"}
        raise AssertionError(f"no form {action} {having} in {self.text}")


class Browser:
    def __init__(self, url):
        self.host = urllib.parse.urlsplit(url).netloc
        self.cookies = {}

    def ask(self, method, path, body=None, headers=None):
        connection = http.client.HTTPConnection(self.host, timeout=60)
        sent = dict(headers or {})
        if self.cookies:
            sent["Cookie"] = "; ".join(f"{k}={v}" for k, v in self.cookies.items())
        connection.request(method, path, body=body, headers=sent)
        answer = connection.getresponse()
        text = answer.read().decode()
        for line in answer.headers.get_all("Set-Cookie") or []:
            for name, morsel in http.cookies.SimpleCookie(line).items():
                if morsel["max-age"] == "0":
                    self.cookies.pop(name, None)
                else:
                    self.cookies[name] = morsel.value
        connection.close()
        return Page(answer.status, answer.headers, text)

    def get(self, path):
        return self.ask("GET", path)

    def post(self, path, fields, headers=None):
        sent = {"Content-Type": "application/x-www-form-urlencoded"} | (headers or {})
        return self.ask("POST", path, urllib.parse.urlencode(fields), sent)

    def log_in(self, name, password, to=None):
        page = self.get("/log-in" + (f"?to={urllib.parse.quote(to)}" if to else ""))
        fields = page.form("/log-in")
        return self.post("/log-in", fields | {"name": name, "password": password})
