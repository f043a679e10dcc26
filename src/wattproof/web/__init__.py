"""The workbench: the tasks as pages of the tester's own machine, and a running bench live."""

from wattproof.web.app import create_app
from wattproof.web.serving import Served, serve
from wattproof.web.settings import WebSettings

__all__ = ["Served", "WebSettings", "create_app", "serve"]
