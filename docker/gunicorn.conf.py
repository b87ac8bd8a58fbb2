"""What the service asks of gunicorn, in the image and elsewhere; what is said on its command line comes first."""

worker_class = "shared.web.gunicorn_worker.Worker"
threads = 4
limit_request_line = 8190  # the most it can be; addresses of lists with many parameters are longer than its own 4,094
