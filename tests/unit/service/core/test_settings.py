"""Settings: defaults, the environment, mistakes."""

from __future__ import annotations

from pathlib import Path

import pytest
from pydantic import SecretStr, ValidationError

from service.core.settings import PREFIX, Settings


def test_defaults_are_the_embedded_service(tmp_path: Path) -> None:
    settings = Settings(data_dir=tmp_path)
    assert settings.database_address == f"sqlite:///{tmp_path.resolve()}/servewright.db"
    assert settings.redis_address.startswith("unix://")
    assert settings.embedded_redis
    assert settings.object_store == "local"
    assert settings.webhook_private_networks == ()
    assert not settings.webhook_allow_http


def test_environment(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(PREFIX + "PORT", "9000")
    monkeypatch.setenv(PREFIX + "MODELS", '["blazepose_full"]')
    monkeypatch.setenv(PREFIX + "REDIS_URL", "redis://:hidden-word@queue/0")
    settings = Settings()
    assert settings.port == 9000
    assert settings.models == ("blazepose_full",)
    assert settings.redis_address == "redis://:hidden-word@queue/0"
    assert not settings.embedded_redis
    assert "hidden-word" not in repr(settings)


def test_errors_do_not_show_secrets(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(PREFIX + "S3_SECRET_ACCESS_KEY", "hidden-word")
    monkeypatch.setenv(PREFIX + "OBJECT_STORE", "s3")  # without a bucket
    with pytest.raises(ValidationError, match="S3_BUCKET") as caught:
        Settings()
    assert "hidden-word" not in str(caught.value)


def test_misspelt_variable_is_an_error(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(PREFIX + "PROT", "9000")
    with pytest.raises(ValidationError, match="SERVEWRIGHT_PROT"):
        Settings()


def test_variables_of_the_tests_are_left_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(PREFIX + "TEST_ANYTHING", "1")
    Settings()


@pytest.mark.parametrize(
    "wrong",
    [
        {"object_store": "s3"},
        {"heartbeat_s": 15.0, "lease_s": 20.0},
        {"webhook_private_networks": ("10.0.0.1/8",)},
        {"port": 70_000},
        {"database_url": "mysql://coach@127.0.0.1/serves"},
        {"database_url": "serves.db"},
        {"redis_url": "127.0.0.1:6379"},
        {"models": ()},
        {"unknown": 1},
    ],
)
def test_settings_that_cannot_be(wrong: dict[str, object]) -> None:
    with pytest.raises(ValidationError):
        Settings.model_validate(wrong)


def test_settings_are_frozen() -> None:
    with pytest.raises(ValidationError):
        Settings().port = 1  # type: ignore[misc]


def test_long_folder_names_get_a_short_socket(tmp_path: Path) -> None:
    deep = Settings(data_dir=tmp_path / ("d" * 120))
    assert len(str(deep.valkey_socket)) <= 100
    assert deep.valkey_socket != Settings(data_dir=tmp_path / ("e" * 120)).valkey_socket


def test_the_usual_address_of_postgresql_gets_the_driver_that_is_installed() -> None:
    """Addresses as libpq writes them (PostgreSQL 17 manual, 34.1.1.2)."""
    for given in (
        "postgresql://coach@127.0.0.1/serves",
        "postgresql+psycopg://coach@127.0.0.1/serves",
    ):
        settings = Settings(database_url=SecretStr(given))
        assert settings.database_address == "postgresql+psycopg://coach@127.0.0.1/serves"
