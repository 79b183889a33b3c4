# Brings the page's pinned packages: cmake -D FOLDER=page -D WORK=... -P fetch.cmake
find_program(NPM npm)
set(otherwise "or give a folder that has uPlot.iife.min.js and uPlot.min.css by -DROOMWAKE_UPLOT_DIR=FOLDER")
if(NOT NPM)
  message(FATAL_ERROR "The page's plots come from npm, which is not installed: install it (deploy/packages build), ${otherwise}")
endif()
file(MAKE_DIRECTORY ${WORK})
file(COPY ${FOLDER}/package.json ${FOLDER}/package-lock.json DESTINATION ${WORK})
execute_process(COMMAND ${NPM} ci --ignore-scripts --no-audit --no-fund --prefer-offline
                WORKING_DIRECTORY ${WORK} RESULT_VARIABLE failed OUTPUT_VARIABLE said ERROR_VARIABLE said)
if(failed)
  message(FATAL_ERROR "The page's plots could not be brought by \"npm ci\" (it needs the network once): try again, ${otherwise}\n${said}")
endif()
