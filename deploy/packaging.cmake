# Two Debian packages, roomwake-node and roomwake (the base station): `cpack -G DEB` in the build
# folder. Must never put a file of one into the other, nor a config over the user's.
set(pages ${CMAKE_BINARY_DIR}/pages)
file(MAKE_DIRECTORY ${pages})

# page_files(PROGRAM COMPONENT): manual and completion from the options that --help is made from.
function(page_files program component)
  add_custom_command(OUTPUT ${pages}/${program}.1 ${pages}/${program}.bash
                     COMMAND $<TARGET_FILE:${program}> help manual > ${pages}/${program}.1
                     COMMAND $<TARGET_FILE:${program}> help completion > ${pages}/${program}.bash
                     DEPENDS ${program} VERBATIM)
  add_custom_target(${program}-pages ALL DEPENDS ${pages}/${program}.1 ${pages}/${program}.bash)
  install(FILES ${pages}/${program}.1 DESTINATION ${CMAKE_INSTALL_MANDIR}/man1
          COMPONENT ${component})
  install(FILES ${pages}/${program}.bash RENAME ${program} COMPONENT ${component}
          DESTINATION ${CMAKE_INSTALL_DATADIR}/bash-completion/completions)
endfunction()
page_files(roomwake base)
page_files(roomwake-node node)

set(deploy ${CMAKE_SOURCE_DIR}/deploy)
install(TARGETS roomwake RUNTIME DESTINATION ${CMAKE_INSTALL_BINDIR} COMPONENT base)
install(TARGETS roomwake-node RUNTIME DESTINATION ${CMAKE_INSTALL_BINDIR} COMPONENT node)
install(FILES ${deploy}/systemd/roomwake@.service DESTINATION lib/systemd/system COMPONENT base)
install(PROGRAMS ${deploy}/systemd/record-site DESTINATION lib/roomwake COMPONENT base)
install(FILES ${deploy}/systemd/roomwake-node.service DESTINATION lib/systemd/system COMPONENT node)
install(FILES ${CMAKE_SOURCE_DIR}/README.md DESTINATION share/doc/roomwake COMPONENT base)
install(FILES ${CMAKE_SOURCE_DIR}/LICENSE RENAME copyright DESTINATION share/doc/roomwake
        COMPONENT base)
install(FILES ${CMAKE_SOURCE_DIR}/LICENSE RENAME copyright DESTINATION share/doc/roomwake-node
        COMPONENT node)

set(CPACK_GENERATOR DEB)
set(CPACK_PACKAGE_NAME roomwake)
set(CPACK_PACKAGE_CONTACT "The Roomwake developers <roomwake@localhost>")
set(CPACK_PACKAGING_INSTALL_PREFIX /usr)
set(CPACK_COMPONENTS_ALL base node)
set(CPACK_DEB_COMPONENT_INSTALL ON)
set(CPACK_STRIP_FILES ON)
set(CPACK_DEBIAN_FILE_NAME DEB-DEFAULT)
set(CPACK_DEBIAN_PACKAGE_SHLIBDEPS ON)
set(CPACK_DEBIAN_PACKAGE_SECTION science)
set(CPACK_DEBIAN_BASE_PACKAGE_NAME roomwake)
set(CPACK_DEBIAN_NODE_PACKAGE_NAME roomwake-node)
set(CPACK_DEBIAN_BASE_PACKAGE_DEPENDS "mosquitto, util-linux, passwd")
set(CPACK_DEBIAN_NODE_PACKAGE_DEPENDS "passwd")
set(CPACK_DEBIAN_BASE_DESCRIPTION "base station: watches several rooms of a building through a night")
set(CPACK_DEBIAN_NODE_DESCRIPTION "node: samples a room's sensors for a Roomwake base station")
foreach(component base node)
  string(TOUPPER ${component} upper)
  set(CPACK_DEBIAN_${upper}_PACKAGE_CONTROL_EXTRA ${deploy}/debian/${component}/postinst
      ${deploy}/debian/${component}/prerm ${deploy}/debian/${component}/postrm)
  set(CPACK_DEBIAN_${upper}_PACKAGE_CONTROL_STRICT_PERMISSION ON)
endforeach()
include(CPack)
