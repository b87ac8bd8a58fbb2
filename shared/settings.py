"""Settings from the environment, with safe defaults: SQLite and in-process jobs need no other service."""

from __future__ import annotations

import os
from pathlib import Path

import dj_database_url

ROOT = Path(__file__).resolve().parent.parent

DEBUG = os.environ.get("BAYWRIGHT_DEBUG", "") == "1"
SECRET_KEY = os.environ.get("BAYWRIGHT_SECRET_KEY", "only-for-a-demo-on-this-machine-never-for-the-open-network")
ALLOWED_HOSTS = os.environ.get("BAYWRIGHT_HOSTS", "localhost,127.0.0.1,[::1],testserver").split(",")

INSTALLED_APPS = [
    "django.contrib.admin",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "django_htmx",
    "rest_framework",
    "drf_spectacular",
    "axes",
    "shared",
    "catalogue",
    "quotes.jobs",
    "quotes.offers",
    "quotes.documents",
    "quotes.orders",
    "quotes.exchange",
    "quotes.books",
    "quotes.desk",
]

MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
]

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [ROOT / "shared" / "pages" / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
            ]
        },
    }
]

ROOT_URLCONF = "shared.urls"
WSGI_APPLICATION = "shared.wsgi.application"
AUTH_USER_MODEL = "shared.Person"

DATABASES = {
    "default": dj_database_url.config(env="DATABASE_URL", default=f"sqlite:///{ROOT / 'baywright.sqlite3'}"),
}

LANGUAGE_CODE = "en"
USE_TZ = True
TIME_ZONE = "UTC"
STATIC_URL = "static/"
