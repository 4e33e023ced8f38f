"""`coldbrood page`: the link that opens the page on a phone."""

import argparse
import io
import os
import socket
import sys
from pathlib import Path

from coldbrood.page.keys import Keys, load_keys, new_keys
from coldbrood.settings.load import load
from coldbrood.settings.records import Page

EPILOG = """examples:
  coldbrood page link --config coldbrood.toml              for the keeper
  coldbrood page link --config coldbrood.toml --look-only  for a neighbour
  coldbrood page link --config coldbrood.toml --renew      all old links end

Open the link once on each phone, or point its camera at the code. Whoever has
the link is let in: hand it over as you would a key. The page is plain HTTP, so
keep it on your own network. After --renew restart the daemon.
"""
NOWHERE = "192.0.2.1"  # an address for documentation (RFC 5737): nothing is sent, the route alone is asked


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the verb and its options."""
    parser = subparsers.add_parser(
        "page",
        help="the link that opens the page on a phone",
        description="Print the link that opens the page on a phone, and a code for its camera.",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("what", choices=("link",), metavar="link", help="print the link")
    parser.add_argument("--config", type=Path, required=True, metavar="F", help="the config file")
    parser.add_argument("--look-only", action="store_true", help="a link that can look and not act")
    parser.add_argument("--renew", action="store_true", help="make new links; every old one ends")
    parser.add_argument("--no-code", action="store_true", help="the link alone, without the code")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Print the link; 69 (EX_UNAVAILABLE) if the page is off, 77 (EX_NOPERM) without rights to its keys."""
    config = load(args.config, os.environ)
    if config.page is None:
        print("page.enabled: false: true shows the page", file=sys.stderr)
        return os.EX_UNAVAILABLE
    try:
        keys = new_keys(config.journal_path) if args.renew else load_keys(config.journal_path)
    except OSError as error:
        print(f"page: {error.filename}: {error.strerror}: run it as the daemon's user", file=sys.stderr)
        return os.EX_NOPERM
    except ValueError as error:
        print(f"page: {error}", file=sys.stderr)
        return os.EX_DATAERR
    link = link_of(config.page, keys, args.look_only)
    print(link if args.no_code else f"{link}\n\n{code_of(link)}")
    return os.EX_OK


def link_of(page: Page, keys: Keys, look_only: bool) -> str:
    """The link that lets in."""
    return f"http://{host_of(page)}:{page.port}/enter?k={keys.guest if look_only else keys.keeper}"


def host_of(page: Page) -> str:
    """How a phone reaches this board: by the name in the config, the address it listens on, or its own."""
    if page.host is not None:
        return page.host
    if page.address not in ("0.0.0.0", "::"):
        return f"[{page.address}]" if ":" in page.address else page.address
    return own_address() or socket.gethostname()


def own_address() -> str | None:
    """The address of this board on the network that its default route goes out by; None without one."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asked:
        try:
            asked.connect((NOWHERE, 9))
            return str(asked.getsockname()[0])
        except OSError:
            return None


def code_of(link: str) -> str:
    """The link as a QR code (ISO/IEC 18004) of half blocks, dark on light, for a terminal."""
    import segno  # only here: the daemon has no need of it

    text = io.StringIO()
    segno.make(link, error="m").terminal(text, compact=True, border=2)
    return text.getvalue()
