"""The pages, one router a subject. A new subject is one line here."""

from __future__ import annotations

from fastapi import APIRouter

from dustcap.web import bench_pages, job_pages

ROUTERS: tuple[APIRouter, ...] = (
    bench_pages.router,
    job_pages.router,
)
