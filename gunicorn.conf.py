"""Read by gunicorn where it is started; what is said on its command line comes first."""

worker_class = "shared.serving.Worker"
limit_request_line = 8190  # the most it can be; addresses of lists with many parameters are longer than its own 4,094
