"""The class pages: nobody else is let in without a word that they must know."""

from rainharvest.__main__ import main
from rainharvest.pages import settings


def test_other_machines_are_let_in_with_a_word_only(capsys, tmp_path):
    assert main(["pages", "--ip", "0.0.0.0", "--notebooks", str(tmp_path)]) == 2
    assert "others could open the pages, and run them; give a word of your own" in capsys.readouterr().err
    assert main(["pages", "--notebooks", str(tmp_path / "none")]) == 2
    assert "no such folder" in capsys.readouterr().err
    assert settings(tmp_path, "localhost", 8866, "")["Voila"]["ip"] == "localhost"
    assert settings(tmp_path, "0.0.0.0", 8866, "raindrop")["Voila"]["token"] == "raindrop"
    hosts = [
        settings(tmp_path, ip, 8866, "raindrop")["Voila"]["tornado_settings"] for ip in ("::1", "0.0.0.0")
    ]
    assert [one["allow_remote_access"] for one in hosts] == [False, True]


def test_kernels_that_nobody_looks_at_end(tmp_path):
    from jupyter_server.services.kernels.kernelmanager import AsyncMappingKernelManager
    from traitlets.config import Config

    given = Config(settings(tmp_path, "localhost", 8866, ""))
    manager = AsyncMappingKernelManager(config=given)
    assert 0 < manager.cull_interval <= 60 and 60 < manager.cull_idle_timeout <= 900
    assert not manager.cull_connected, "a page that is open keeps its kernel"
