"""The application as a server calls it."""

import os

from django.core.wsgi import get_wsgi_application

from teardown.site.supervisor import leave_when_orphaned

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "teardown.site.settings")
if os.environ.get("TEARDOWN_SUPERVISED"):
    leave_when_orphaned()  # the server's own workers are grandchildren of the supervisor
application = get_wsgi_application()
