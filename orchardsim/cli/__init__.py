"""The command line: one module per command, each with ``SUMMARY``, ``add_arguments`` and ``execute``."""
