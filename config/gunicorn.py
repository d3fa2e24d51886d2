"""How gunicorn serves the pages: ``gunicorn -c config/gunicorn.py config.wsgi``."""

from config import env

bind = env.text("KICKPLATE_BIND", "127.0.0.1:8000")
workers = env.whole("KICKPLATE_WEB_WORKERS", 1)
threads = env.whole("KICKPLATE_WEB_THREADS", 8)
worker_class = "gthread"
timeout = 60
graceful_timeout = 10
max_requests = 5000 if workers > 1 else 0  # with one process a restart would be felt
max_requests_jitter = 500
loglevel = "warning"
accesslog = None  # each request is told of by the application, with its id
control_socket_disable = True  # it would lie in the home folder, where two installations meet
