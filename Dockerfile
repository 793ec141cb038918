# The register alone, without test tools. Written without a container engine at hand, so never built
# by its authors: see docker-compose.yml.
FROM python:3.13-slim

WORKDIR /srv/stencilbook
COPY requirements.lock .
RUN pip install --no-cache-dir --require-hashes -r requirements.lock
COPY . .
RUN useradd --system --home-dir /srv/stencilbook stencilbook \
    && install -d -o stencilbook -g stencilbook data
USER stencilbook

# Only inside the container: which address of the host leads here is said where it is started. People sign
# in; SECRET_KEY, PUBLIC_URL and TRUSTED_PROXIES are given where it is started too. See docker-compose.yml
# for the first account, and docs/https.md.
ENV HOST=0.0.0.0 PORT=8000 PYTHONUNBUFFERED=1
EXPOSE 8000
CMD ["python", "-m", "app", "serve", "--migrate"]
