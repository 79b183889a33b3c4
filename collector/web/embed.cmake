# Writes the page's files as C arrays: cmake -D FOLDER=... -D OUT=... -P embed.cmake
set(text "/* Made when building from collector/web/page. */\n#include \"collector/web/assets.h\"\n\n")
set(table "const struct web_asset web_assets[WEB_ASSET_COUNT] = {\n")
function(embed slot name file path type)
  file(READ ${FOLDER}/${file} hex HEX)
  string(REGEX REPLACE "([0-9a-f][0-9a-f])" "0x\\1," bytes "${hex}")
  string(REGEX REPLACE "(0x..,0x..,0x..,0x..,0x..,0x..,0x..,0x..,0x..,0x..,0x..,0x..,0x..,0x..,0x..,0x..,)"
         "\\1\n" bytes "${bytes}")
  set(text "${text}static const unsigned char ${name}[] = {\n${bytes}\n};\n" PARENT_SCOPE)
  set(table "${table}    [${slot}] = {\"${path}\", \"${type}\", ${name}, sizeof ${name}},\n"
      PARENT_SCOPE)
endfunction()
embed(WEB_ASSET_HTML html index.html / "text/html; charset=utf-8")
embed(WEB_ASSET_CSS css page.css /page.css "text/css; charset=utf-8")
embed(WEB_ASSET_JS js page.js /page.js "text/javascript; charset=utf-8")
file(WRITE ${OUT} "${text}\n${table}};\n")
