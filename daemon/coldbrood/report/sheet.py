"""The report of a batch as one HTML file that needs nothing else: no script, font or picture from outside."""

from html import escape
from importlib.resources import files

from coldbrood import __version__
from coldbrood.report.account import Account
from coldbrood.report.details import details
from coldbrood.report.summary import day_text, summary
from coldbrood.watch.boxstate import rfc3339

POLICY = "default-src 'none'; style-src 'unsafe-inline'"


def sheet(account: Account, made_wall_s: float) -> str:
    """The whole document."""
    site = account.facts.site
    title = f"{site.name}: report of the batch of {day_text(site.batch.arrival)}"
    css = files("coldbrood.report").joinpath("report.css").read_text(encoding="utf-8")
    made = f"Made by coldbrood {__version__} at {rfc3339(made_wall_s)} from the journal alone."
    return f"""<!doctype html>
<html lang="en">
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
