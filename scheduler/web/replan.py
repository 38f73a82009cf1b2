"""The page of a replan: starts it, shows its progress, cancels it."""

from __future__ import annotations

from flask import Flask, Response, jsonify, redirect, render_template, url_for
from werkzeug.wrappers import Response as AnyResponse

from scheduler.language.translation import _
from scheduler.web.context import app_context


def register(app: Flask) -> None:
    """Add the page to the app."""
    app.get("/replan")(replan)
    app.post("/replan")(start_replan)
    app.get("/replan.json")(replan_json)
    app.post("/replan/cancel")(cancel)


def replan() -> str:
    """Show where the replan stands."""
    return render_template("replan.html", state=app_context().planner.state)


def start_replan() -> AnyResponse:
    """Start a replan."""
    context = app_context()
    context.planner.start(context.clock())
    return redirect(url_for("replan"), 303)


def replan_json() -> Response:
    """Where the replan stands, for the script of the page."""
    state = app_context().planner.state
    return jsonify(running=state.running, share=state.share, text=_(state.text), error=state.error)


def cancel() -> AnyResponse:
    """Cancel the replan."""
    app_context().planner.cancel()
    return redirect(url_for("replan"), 303)
