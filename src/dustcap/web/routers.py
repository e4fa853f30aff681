"""The pages, one router a subject. A new subject is one line here."""

from __future__ import annotations

from fastapi import APIRouter

from dustcap.web import (
    bench_pages,
    board_pages,
    describe_pages,
    entries,
    handover_pages,
    hunt_pages,
    intake_pages,
    job_pages,
    photo_pages,
    proof_pages,
    sound_pages,
)

ROUTERS: tuple[APIRouter, ...] = (
    bench_pages.router,
    intake_pages.router,
    job_pages.router,
    entries.router,
    hunt_pages.router,
    sound_pages.router,
    proof_pages.router,
    handover_pages.router,
    board_pages.router,
    describe_pages.router,
    photo_pages.router,
)
