"""The pages of sign-in and sign-out: plain forms that need no script."""

from jinja2 import Environment

from dashboard.theme import stylesheet
from dashboard.view import View

FRAME = """<!DOCTYPE html>
<html lang="{{ words.language }}"{% if theme %} data-theme="{{ theme }}"{% endif %}>
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>{{ title }} · {{ words("app.title") }}</title>
<link rel="icon" href="/assets/nightkeel.svg" type="image/svg+xml">
<style>{{ colours|safe }} .access > * { margin: 12px 0; max-width: 26rem; }</style>
<link rel="stylesheet" href="/assets/nightkeel.css">
</head>
<body>
<div class="shell">
<header class="top"><span class="wordmark">{{ words("app.title") }}</span></header>
<main>
<h1>{{ title }}</h1>
{% if said %}<p class="answer" role="alert">{{ said }}</p>{% endif %}
<form method="post" action="{{ action }}" class="access">
<input type="hidden" name="token" value="{{ token }}">
__FIELDS__
</form>
<p class="soft">{{ words("access.rule") }}</p>
</main>
<footer><p class="caution">{{ words("app.caution") }}</p></footer>
</div>
</body>
</html>"""

LOGIN_FIELDS = """<input type="hidden" name="next" value="{{ place }}">
<div class="field"><label for="name">{{ words("access.name") }}</label>
<input id="name" name="name" autocomplete="username" autocapitalize="none" spellcheck="false" required
 maxlength="64" autofocus></div>
<div class="field"><label for="passphrase">{{ words("access.passphrase") }}</label>
<input id="passphrase" name="passphrase" type="password" autocomplete="current-password" required
 maxlength="256"></div>
<button class="button" type="submit">{{ words("access.sign_in") }}</button>"""

ACCOUNT_FIELDS = """<p>{{ words("access.who", name=name, role=role) }}</p>
<p><a class="button" href="/">{{ words("access.back") }}</a>
<button class="button" type="submit">{{ words("access.sign_out") }}</button></p>"""

TEMPLATES = Environment(autoescape=True)
# Compiled once: whoever guesses gets this page a thousand times.
LOGIN_PAGE, ACCOUNT_PAGE = (
    TEMPLATES.from_string(FRAME.replace("__FIELDS__", one)) for one in (LOGIN_FIELDS, ACCOUNT_FIELDS)
)


def login_page(view: View, place: str, said: str, token: str) -> str:
    """Return the sign-in page; `place` is where to go on to, `said` why it is shown again."""
    return LOGIN_PAGE.render(
        words=view.words, theme=view.theme, colours=stylesheet(), action="/login",
        title=view.words("access.sign_in"), place=place, said=said, token=token,
    )  # fmt: skip


def account_page(view: View, name: str, role: str, token: str) -> str:
    """Return the page that says who is signed in, and signs out."""
    return ACCOUNT_PAGE.render(
        words=view.words, theme=view.theme, colours=stylesheet(), action="/logout",
        title=view.words("access.account"), said="", token=token, name=name,
        role=view.words(f"access.role.{role}"),
    )  # fmt: skip
