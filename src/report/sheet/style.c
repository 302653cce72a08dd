/* The sheet's style, and the policy that lets in this style and nothing else.
 *
 * Colours: blue-green for what is sent, brown for what the adapter makes of it; they differ in
 * lightness too, and fill and outline tell them apart without colour. Text keeps a contrast of
 * 4.5 to 1 or more in light, dark and print. */
#include "report/sheet/sheet.h"

#include <nettle/base64.h>
#include <nettle/sha2.h>
#include <string.h>

static const char style[] =
    ":root{--paper:#fdfcf7;--ink:#1d2a33;--soft:#4d5b64;--rule:#cdc8b8;--wash:#f0ede2;"
    "--sent:#0b5a80;--after:#8f4400;--bad:#96182e;--good:#17603c}\n"
    "@media screen and (prefers-color-scheme:dark){:root{color-scheme:dark;--paper:#141b20;"
    "--ink:#e9ece8;--soft:#b0bbc1;--rule:#414d55;--wash:#202a30;--sent:#82caf0;--after:#f3b573;"
    "--bad:#ff9ea9;--good:#8ad9ae}}\n"
    "*{box-sizing:border-box}\n"
    "html{font-size:16px;-webkit-text-size-adjust:100%}\n"
    "body{margin:0;background:var(--paper);color:var(--ink);"
    "font:.94rem/1.45 \"Liberation Sans\",\"Noto Sans\",system-ui,sans-serif}\n"
    "main{max-width:58rem;margin:0 auto;padding:1.1rem .75rem 2rem}\n"
    "h1,h2,h3,p,dl,dd,ol,ul,figure,table{margin:0}\n"
    "h1{font-size:1.55rem;line-height:1.2;overflow-wrap:anywhere}\n"
    "h2{font-size:1.02rem;margin:0 0 .45rem;padding-top:.3rem;border-top:.16rem solid var(--ink)}\n"
    "h3{font-size:.94rem;margin:.7rem 0 .2rem}\n"
    "section{margin-top:1.3rem}\n"
    "p+p{margin-top:.4rem}\n"
    "bdi,code,.say,td,li,dd{overflow-wrap:anywhere}\n"
    ".over{font-size:.82rem;letter-spacing:.05em;color:var(--soft);margin-bottom:.15rem}\n"
    ".key{display:block}.who "
    "li+li{margin:0}.who{list-style:none;padding:0;max-width:none;display:grid;grid-template-"
    "columns:repeat(auto-fit,minmax(7.6rem,1fr));gap:.5rem 1rem;"
    "margin-top:.8rem}\n"
    "dt,.key,caption,figcaption,.note{font-size:.82rem;color:var(--soft)}\n"
    ".blank{display:block;height:1.35em;border-bottom:1px solid var(--soft)}\n"
    ".say{font-size:1.12rem;line-height:1.4;border-left:.4rem solid var(--ink);"
    "background:var(--wash);padding:.55rem .8rem}\n"
    ".say b{display:block}\n"
    ".yes{border-color:var(--good)}.yes b{color:var(--good)}\n"
    ".no{border-color:var(--bad)}.no b{color:var(--bad)}\n"
    ".do{border-color:var(--after)}.do b{color:var(--after)}\n"
    "ol,ul{padding-left:1.4rem;max-width:48rem}li+li{margin-top:.25rem}\n"
    ".pair{display:grid;grid-template-columns:repeat(auto-fit,minmax(19rem,1fr));"
    "gap:1rem 1.6rem;margin-top:.9rem;align-items:start}\n"
    ".figures .pair{grid-template-columns:repeat(auto-fit,minmax(min(25rem,100%),1fr))}\n"
    ".pair>*{min-width:0}\n"
    "figcaption>b:first-child,caption>b{color:var(--ink);display:block;font-size:.9rem}\n"
    "figcaption{margin-bottom:.25rem}caption{text-align:left;padding-bottom:.2rem}\n"
    ".scroll{overflow-x:auto}\n"
    "figure+figure,.stack>*+*{margin-top:.9rem}.pair figure+figure{margin-top:0}\n"
    "table{border-collapse:collapse;width:100%;font-size:.86rem}\n"
    "th,td{text-align:left;vertical-align:top;padding:.16rem .7rem .16rem 0;"
    "border-bottom:1px solid var(--rule);font-weight:400}\n"
    "thead th{color:var(--soft);font-size:.8rem;border-bottom-color:var(--soft);"
    "vertical-align:bottom}\n"
    "tr>:last-child{padding-right:0}\n"
    "@media print,(min-width:45rem){table.figures th[scope=row],table.adapter th[scope=row]"
    "{white-space:nowrap}table.figures td,table.adapter td{width:60%}}\n"
    ".holds td{white-space:nowrap}@media print,(min-width:45rem){.budget td{white-space:nowrap}}\n"
    ".r th+th{white-space:nowrap}\n"
    ".r td,.r th+th{text-align:right}.r td.l,.changes "
    "tr>:last-child{text-align:left;white-space:nowrap}\n"
    ".n{white-space:nowrap;font-variant-numeric:tabular-nums}\n"
    ".none{color:var(--soft)}.part{color:var(--soft);white-space:nowrap}\n"
    "code{font:.84em/1.4 \"Liberation Mono\",\"DejaVu Sans Mono\",ui-monospace,monospace}\n"
    ".split{display:grid;grid-template-columns:1fr;gap:0 1.6rem}.split>*{min-width:0}\n"
    ".facts{display:grid;grid-template-columns:minmax(7rem,auto) 1fr;gap:.15rem .9rem;"
    "font-size:.86rem}\n"
    ".facts dt{font-size:inherit}.facts dd{min-width:0}\n"
    ".caution{border:.12rem solid var(--bad);padding:.5rem .8rem .6rem;font-size:.9rem}\n"
    ".caution h2{border:0;padding:0}\n"
    ".sign{display:grid;grid-template-columns:repeat(auto-fit,minmax(13rem,1fr));gap:1rem 1.6rem}\n"
    ".sign .blank{height:2.3rem}\n"
    "footer{margin-top:1rem;font-size:.78rem;color:var(--soft)}\n"
    "svg{display:block;width:100%;height:auto;font-size:11px}\n"
    ".narrow{display:none}\n"
    "svg text{fill:var(--ink);stroke:var(--paper);stroke-width:3px;stroke-linejoin:round;"
    "paint-order:stroke}svg .num,svg .unit{fill:var(--soft)}\n"
    "svg .sents{fill:var(--sent)}svg .afters{fill:var(--after)}svg .strong{font-weight:700}\n"
    ".axis{stroke:var(--soft);stroke-width:1}.grid{stroke:var(--rule);stroke-width:.6}\n"
    ".zone{fill:var(--wash)}\n"
    ".doubt{fill:var(--bad);fill-opacity:.13}.doubtbar{fill:var(--bad)}.doubted{color:var(--bad)}\n"
    ".dots{fill:none;stroke:var(--sent);stroke-width:1.9;stroke-linecap:round}\n"
    ".bars{fill:var(--sent)}\n"
    ".want{fill:none;stroke:var(--ink);stroke-width:1.4;stroke-dasharray:5 3}\n"
    ".sent{fill:var(--sent);stroke:var(--sent);stroke-width:1.4}\n"
    ".after{fill:var(--paper);stroke:var(--after);stroke-width:2.6}\n"
    ".line{fill:none;stroke:var(--sent);stroke-width:1.8}\n"
    ".line2{fill:none;stroke:var(--after);stroke-width:1.8}\n"
    ".thin{fill:none;stroke:var(--sent);stroke-width:1}\n"
    ".box{fill:none;stroke:var(--sent);stroke-width:5}\n"
    ".slim{fill:none;stroke:var(--sent);stroke-width:2.2}\n"
    ".dash{fill:none;stroke:var(--after);stroke-width:1.3;stroke-dasharray:6 3}\n"
    ".fine{fill:none;stroke:var(--ink);stroke-width:1;stroke-dasharray:1.5 2.5}\n"
    ".mark{fill:var(--paper);stroke:var(--ink);stroke-width:1.4}\n"
    ".event{fill:none;stroke:var(--bad);stroke-width:.8;stroke-dasharray:2 3}svg "
    ".eventt{fill:var(--bad);"
    "font-weight:700}\n"
    ".seen{fill:none;stroke:var(--ink);stroke-width:1.1}\n"
    "@media screen and "
    "(max-width:45rem){table{font-size:.8rem}th,td{padding-right:.5rem}.wide{display:none}.narrow{"
    "display:block}}\n"
    "@page{size:auto;margin:9mm 11mm}\n"
    "@media print{html{font-size:10px}body{background:none;line-height:1.28}\n"
    "main,ol,ul{max-width:none}main{padding:0}section{margin-top:.6rem}.say{padding:.3rem .7rem}\n"
    ".pair,.figures .pair{grid-template-columns:1fr 1fr;margin-top:.4rem;gap:.3rem 1.4rem}\n"
    "svg.half{width:84%}svg.wide{width:94%}.joint svg.wide{width:72%}.adapter svg.half{width:74%}\n"
    ".scroll{overflow:visible}figure,tr,.caution,.sign,.say{break-inside:avoid}\n"
    "h2,h3,caption,thead{break-after:avoid}.who{grid-template-columns:repeat(5,1fr);"
    "margin-top:.3rem}\n"
    "th,td{padding-top:.06rem;padding-bottom:.06rem}\n"
    ".caution ul{columns:2;column-gap:1.8rem}.caution li{break-inside:avoid}\n"
    ".split{grid-template-columns:3fr 2fr}.split h3{margin-top:0}\n"
    ".stack>*+*{margin-top:.35rem}\n"
    ".dense svg.half{width:70%}.dense svg.wide{width:80%}.dense .joint svg.wide{width:64%}\n"
    ".turn{break-before:page;margin-top:0}.signed{margin-top:.3rem}h2{margin-bottom:.2rem;padding-"
    "top:.15rem}"
    "h3{margin-top:.4rem}li+li{margin-top:.05rem}.sign .blank{height:1.9rem}\n"
    ".dense{font-size:.92em}.dense .turn{break-before:auto;margin-top:.5rem}\n"
    ".dense .adapter .pair{grid-template-columns:11fr 11fr 9fr;gap:.3rem 1rem}"
    ".dense .adapter svg.half{width:100%}.dense section{margin-top:.45rem}\n"
    ".dense table,.dense .facts,.dense .caution{font-size:.84em}\n"
    "*{-webkit-print-color-adjust:exact;print-color-adjust:exact}}\n";

void spw_sheet_style(spw_text *out) {
    struct sha256_ctx context;
    uint8_t digest[SHA256_DIGEST_SIZE];
    char hash[BASE64_ENCODE_RAW_LENGTH(SHA256_DIGEST_SIZE) + 1];
    sha256_init(&context);
    sha256_update(&context, sizeof style - 1, (const uint8_t *)style);
    sha256_digest(&context, sizeof digest, digest);
    base64_encode_raw(hash, sizeof digest, digest);
    hash[sizeof hash - 1] = '\0';
    spw_text_printf(out,
                    "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; "
                    "style-src 'sha256-%s'; base-uri 'none'; form-action 'none'\">\n",
                    hash);
    spw_text_puts(out, "<style>");
    spw_text_puts(out, style);
    spw_text_puts(out, "</style>\n");
}
