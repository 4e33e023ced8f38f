"""The report of a batch as one HTML file that needs nothing else: no script, font or picture from outside."""

from html import escape
from importlib.resources import files

from coldbrood import __version__
from coldbrood.report.account import Account
from coldbrood.report.details import details
from coldbrood.report.summary import summary
from coldbrood.watch.boxstate import rfc3339

POLICY = "default-src 'none'; style-src 'unsafe-inline'"


def sheet(account: Account, made_wall_s: float) -> str:
    """The whole document."""
    site = account.facts.site
    words = account.words
    title = words.say(
        "{site}: report of the batch of {day}", site=site.name, day=words.day_year(site.batch.arrival)
    )
    css = files("coldbrood.report").joinpath("report.css").read_text(encoding="utf-8")
    made = words.say(
        "Made by coldbrood {version} at {time} from the journal alone.",
        version=__version__,
        time=rfc3339(made_wall_s),
    )
    return f"""<!doctype html>
<html lang="{words.language}">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta http-equiv="Content-Security-Policy" content="{POLICY}">
<title>{escape(title)}</title>
<style>
{css}</style>
</head>
<body>
<main>
{summary(account)}
{details(account)}
</main>
<footer><p>{escape(made)}</p></footer>
</body>
</html>
"""
