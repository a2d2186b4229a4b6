from tests.kept import demo, demo_backup, plain, plain_backup

__all__ = ["demo", "demo_backup", "plain", "plain_backup"]
