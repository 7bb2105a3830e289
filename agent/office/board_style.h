/*
 * The pages' stylesheet and picture. Included by board.c alone. Light and dark follow the reader's
 * system; on paper the colours go and the reasons stay. Contrast of text is at least 4.5 to 1
 * (WCAG 2.1, 1.4.3), by calculation for the pairs used here.
 */
#ifndef FSP_OFFICE_BOARD_STYLE_H
#define FSP_OFFICE_BOARD_STYLE_H

static const char board_css[] =
        ":root{color-scheme:light dark;--paper:#f7f5f0;--card:#fff;--ink:#1d2329;--dim:#555e66;"
        "--rule:#d9d4c8;--accent:#0b5563;--stop:#9c1c1c;--stop-bg:#fbe3e0;--warn:#7a4a00;"
        "--warn-bg:#fdf0d5;--good:#1f5f3a;--good-bg:#e2f1e7}"
        "@media(prefers-color-scheme:dark){:root{--paper:#14181b;--card:#1c2226;--ink:#e8e6e1;"
        "--dim:#a9b1b7;--rule:#343c42;--accent:#7cc7d4;--stop:#ffb3ab;--stop-bg:#4a1d1b;"
        "--warn:#f5cf87;--warn-bg:#43310f;--good:#a5dcb9;--good-bg:#163524}}"
        "*{box-sizing:border-box}"
        "body{margin:0;background:var(--paper);color:var(--ink);"
        "font:16px/1.45 system-ui,'Segoe UI',Roboto,'Helvetica Neue',sans-serif}"
        "header,main,footer{max-width:84rem;margin:0 auto;padding:0 1.25rem}"
        "header{padding-top:1.5rem;padding-bottom:.5rem;display:flex;flex-wrap:wrap;"
        "align-items:baseline;gap:.25rem 1.25rem}"
        "h1{font-size:1.6rem;margin:0;letter-spacing:-.01em}h1 span{color:var(--accent)}"
        "header p{margin:0;color:var(--dim)}a{color:var(--accent)}"
        "h2{font-size:1.15rem;margin:1.6rem 0 .5rem}"
        "dl{display:grid;grid-template-columns:max-content 1fr;gap:.4rem 1.25rem;margin:0;"
        "padding:.9rem;background:var(--card);border:1px solid var(--rule);border-radius:6px}"
        "dt{color:var(--dim)}dd{margin:0}"
        ".caution{margin:.5rem 0 1.25rem;padding:.6rem .9rem;border-left:4px solid "
        "var(--accent);"
        "background:var(--card);max-width:62rem}"
        ".scroll{overflow-x:auto;background:var(--card);border:1px solid var(--rule);"
        "border-radius:6px}"
        ".scroll:focus-visible{outline:3px solid var(--accent);outline-offset:2px}"
        "table{border-collapse:collapse;width:100%;font-variant-numeric:tabular-nums}"
        "caption{text-align:left;padding:.7rem .9rem;color:var(--dim)}"
        "th,td{padding:.55rem .9rem;text-align:left;vertical-align:top;"
        "border-top:1px solid var(--rule)}"
        "thead th{font-size:.82rem;font-weight:600;color:var(--dim);vertical-align:bottom;"
        "white-space:nowrap}"
        "tbody th{font-size:1.05rem;text-transform:capitalize}"
        ".n{text-align:right;white-space:nowrap}.t{white-space:nowrap}"
        ".why{display:block;color:var(--dim);font-size:.88rem;min-width:14rem;max-width:26rem}"
        ".state{display:inline-block;padding:.05rem .55rem;border-radius:1rem;font-weight:600;"
        "white-space:nowrap}"
        ".stop{color:var(--stop);background:var(--stop-bg)}"
        ".warn{color:var(--warn);background:var(--warn-bg)}"
        ".good{color:var(--good);background:var(--good-bg)}"
        ".plain{color:var(--dim);border:1px solid var(--rule)}"
        ".bar{display:block;width:100%;min-width:5rem;height:.45rem;accent-color:var(--accent)}"
        "ul{margin:0;padding:0;list-style:none}li+li{margin-top:.35rem}"
        ".flags{min-width:16rem;max-width:30rem}"
        ".flags .state{border-radius:4px;white-space:normal;font-weight:500;font-size:.92rem}"
        "footer{padding-top:1rem;padding-bottom:2rem;color:var(--dim);font-size:.88rem;"
        "max-width:84rem}"
        "@media print{:root{color-scheme:light;--paper:#fff;--card:#fff;--ink:#000;--dim:#333;"
        "--rule:#999;--stop:#000;--stop-bg:#fff;--warn:#000;--warn-bg:#fff;--good:#000;"
        "--good-bg:#fff;--accent:#000}body{font-size:9.5pt}.scroll{overflow:visible;border:0}"
        "th,td{padding:.25rem .4rem}.state{border:1px solid #000}.bar{display:none}"
        "tr{break-inside:avoid}thead{display:table-header-group}"
        "@page{size:landscape;margin:12mm}}";

static const char board_picture[] =
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 32 32\">"
        "<rect width=\"32\" height=\"32\" rx=\"6\" fill=\"#0b5563\"/>"
        "<g fill=\"none\" stroke=\"#fff\" stroke-width=\"2.4\" stroke-linecap=\"round\">"
        "<path d=\"M7 6v20M25 6v20M7 11h18M7 16h18M7 21h18M25 11l4-6\"/></g></svg>\n";

#endif
