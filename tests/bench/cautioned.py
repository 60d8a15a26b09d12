"""The environment of a command for whose account the cautions were put away before."""

import atexit
import os
import shutil
import tempfile
from functools import cache
from unittest.mock import patch

from monitor.cautions_read import note_read


@cache
def cautioned() -> dict[str, str]:
    """This process's environment, with a folder of state that lasts as long as it does."""
    folder = tempfile.mkdtemp()
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    with patch.dict(os.environ, {"XDG_STATE_HOME": folder}):
        note_read()
        return dict(os.environ)
