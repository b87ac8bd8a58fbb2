"""Settings of the Gunicorn server: ``gunicorn -c docker/gunicorn.conf.py shared.wsgi``."""

worker_class = "shared.web.gunicorn_worker.Worker"
threads = 4
limit_request_line = 8190  # the most it can be; addresses of lists with many parameters are longer than its own 4,094
